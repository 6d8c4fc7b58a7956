"""The file systems: one a file, found by its name."""
