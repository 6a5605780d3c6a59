"""Commands about melts: start and end, charge, dips, profiles, plan, the furnace they are made in."""
