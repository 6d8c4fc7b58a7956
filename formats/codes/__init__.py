"""How bytes become cells: one code a file, found by its name."""
