"""What the screen says, region by region, as text with roles. Pure."""
