"""What happened to the link to a board."""

TEXTS: dict[str, str] = {
    "link.ended": "unplugged: the port has ended",
    "link.unplugged": "unplugged: {error}",
    "link.reader_failed": "the reader failed: {error}",
    "link.shared": "{port} is read by {holders} too",
    "link.shared_unseen": "a program of another user",
}
