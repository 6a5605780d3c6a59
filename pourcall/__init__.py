"""pourcall: follows a melt from cold charge to pour, calls the pour, and records what came of it."""
