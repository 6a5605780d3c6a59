"""The engine of one furnace. Inputs in, events out, time as data; the same live, in simulation and in replay."""
