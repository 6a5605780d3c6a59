"""Melts to watch and to test with: scripts, the simulated operator, the demonstration."""
