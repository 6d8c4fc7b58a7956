"""How what was read from a side lies in a file: dump, sector report, capture."""
