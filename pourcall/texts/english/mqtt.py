"""The broker: what is wrong with it, told beside the alarm."""

TEXTS: dict[str, str] = {
    "mqtt.refused": "{where} refused the login: {error}",
    "mqtt.down": "{where}: {error}; all is recorded here and sent later",
    "mqtt.clash": "{where} dropped us {count} {count:time|times} within {within_s}",
    "mqtt.back": "{where} is back",
    "mqtt.no_more_drops": "no more drops",
}
