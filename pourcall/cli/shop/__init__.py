"""Commands about the installation: setup, serve, watch, check, backup, alloys, the demonstration."""
