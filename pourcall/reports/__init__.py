"""What is read away from the furnace: sheets, drawings, pages and tables made from the record."""
