"""What reaches the engine: boards, commands, the daemon's own notices; all in one order for each furnace."""
