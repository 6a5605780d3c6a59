"""Room: the records. One SQLite file that loses nothing, its migrations, roll-up, backup and exports."""
