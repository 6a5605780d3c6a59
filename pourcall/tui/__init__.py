"""The dashboard. A client of the API that draws frozen snapshots and holds no truth of its own."""
