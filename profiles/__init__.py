"""Room: what the metal needs. Alloy sheets, windows, and the first-order science behind them; pure."""
