"""Room: the engine. Inputs in, events out, time as data; the same live, in simulation and in replay."""
