"""The table at which discs are written and read back: drives as external programs, guards, the loop of the work, its screens.

Imports `words`, `recording` and what lies below; reaches the simulator only as a command line, as it would a real drive.
"""
