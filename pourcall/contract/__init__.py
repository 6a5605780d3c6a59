"""What is recorded or sent: units, status, readings, inputs, events, plans, settings, errors. Imports none of ours."""
