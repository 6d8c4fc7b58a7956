"""One command a file; a folder is a group of commands."""
