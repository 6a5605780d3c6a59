"""The engine over what is recorded: a trace from a file, a journal, a pour worked out again."""
