"""One probe or board: what it measures, what it is doing, and whether it is well."""
