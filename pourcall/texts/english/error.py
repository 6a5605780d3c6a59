"""Errors of several packages."""

TEXTS: dict[str, str] = {
    "error.nothing_changed": "Nothing was changed here. {remedy}",
}
