"""The record. One SQLite file that loses nothing."""
