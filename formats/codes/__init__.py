"""How bytes become cells: one recording code a file, loaded by its name."""
