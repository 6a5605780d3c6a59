"""Traces in, findings out: arrests, melting, settling, plateaus, trends. Pure."""
