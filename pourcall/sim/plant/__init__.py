"""Furnace, metal, probe and sample cup in degrees. Energy is conserved, nothing is random."""
