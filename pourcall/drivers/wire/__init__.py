"""Bytes on the wire to frames and back. Pure: no port, clock or log in sight, one module a format.

`framing` cuts lines; a module a format decodes them and ends with its `FORMAT` (`format`); `registry` is the table of
all; `guess` says which one was heard.
"""
