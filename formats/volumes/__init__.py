"""The file systems: one a file, loaded by its name."""
