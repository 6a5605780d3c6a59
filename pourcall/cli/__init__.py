"""The commands. Thin: parse, call one thing, print; the only package that composes all others."""
