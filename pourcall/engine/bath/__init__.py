"""What the metal itself is at: probes, dips and typed figures in, one temperature out."""
