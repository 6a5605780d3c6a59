"""English, a module a subject: `TEXTS` maps a message's full name to its sentence with facts in braces."""
