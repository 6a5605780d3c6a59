"""The simulated shop. A plant in degrees, boards in bytes, faults in words, scenarios as data."""
