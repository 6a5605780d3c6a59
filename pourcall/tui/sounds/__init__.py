"""What must be heard, and how it is played."""
