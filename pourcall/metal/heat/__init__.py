"""Heat in metal and mould: melting, the way to the mould, filling, freezing. First order, accuracy stated."""
