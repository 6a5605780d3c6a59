"""What lies ahead and what the profile says: the forecast beside the engine."""
