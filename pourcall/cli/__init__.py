"""Room: the commands. Thin: parse, call one thing, print; the only room that composes all others."""
