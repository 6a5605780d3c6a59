"""Room: the ground floor. Units, status, readings, messages, settings, errors, the clock. Imports nothing of ours."""
