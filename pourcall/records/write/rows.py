"""One row into a table. Names of tables and columns are ours, never a user's."""

import sqlite3


def insert(conn: sqlite3.Connection, table: str, **columns: object) -> int:
    """Insert one row by column names; its id."""
    names, marks = ", ".join(columns), ", ".join("?" * len(columns))
    return conn.execute(f"INSERT INTO {table} ({names}) VALUES ({marks})", tuple(columns.values())).lastrowid or 0
