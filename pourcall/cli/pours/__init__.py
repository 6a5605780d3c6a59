"""Commands about pours: mark, correct, results, sheets, comparison, export, advice, mould setups."""
