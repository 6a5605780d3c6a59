"""Reading the record: listings, details, traces, journals. Never a write."""
