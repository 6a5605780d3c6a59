"""One melt while it runs: its state, its lift and pours, and whether it may be poured."""
