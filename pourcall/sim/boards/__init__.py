"""The amplifier's end of the wire: chips, dialects, faults, pseudo-terminals."""
