"""The command line: one command a file, found by its name and loaded when it is asked for."""
