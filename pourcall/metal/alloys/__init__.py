"""Alloy sheets: what is known of each alloy, every value with its unit, source and mark."""
