"""The process: service, input sequencing, API, MQTT, ports, lock."""
