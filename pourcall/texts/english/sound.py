"""What is heard, and by which player."""

TEXTS: dict[str, str] = {
    "sound.off": "sound: off",
    "sound.player": "sound: {player}",
    "sound.bell": "sound: bell only",
    "sound.bell_after": "sound: bell only ({failed} failed)",
    "sound.silenced": "Silent for {for_s}. What is not acknowledged sounds again",
}
