"""Alarms: every kind there is, their lifecycle, and the conditions that raise them."""
