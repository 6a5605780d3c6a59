"""What people and workers add later, each table by one module. Rows are added, never altered."""
