"""Bytes on the wire to frames and back. Pure: no port, clock or log in sight, one module a format.

`framing` cuts lines; `ourline`, `max31855`, `max31856`, `mcp960x` and `text` decode them; `guess` says which it is.
"""
