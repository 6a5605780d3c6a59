"""Boards on ports: wire formats, the serial link, port scan, capture; bytes in, frames out."""
