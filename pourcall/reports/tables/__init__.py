"""Readings and pours as rows: CSV with CSVW, JSON lines, Parquet."""
