"""A probe against known temperatures. Pure: traces and rows in, corrections out."""
