"""Pages to print or pin on the wall."""
