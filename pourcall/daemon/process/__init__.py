"""The process itself: its lock, its tasks, a loop that was held up, a computer that must not sleep."""
