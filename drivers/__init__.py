"""Room: the measurement chain. Bytes from a board to degrees with an uncertainty; the serial link; the firmware."""
