"""Sectors to cells and cells to sectors, for every declared geometry. Imports `formats.model` and the codes by name."""
