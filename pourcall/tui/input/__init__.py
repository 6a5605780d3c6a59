"""What keys do. Pure machines: key, snapshot and time in, actions out."""
