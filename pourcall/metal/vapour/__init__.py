"""Zinc over a bath: its pressure, how fast it leaves, what is breathed, and the limits of that."""
