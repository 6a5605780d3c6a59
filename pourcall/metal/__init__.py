"""What the metal is and needs: alloy sheets, pour windows, and the first-order science behind them. Pure."""
