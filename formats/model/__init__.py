"""What a declaration says of a disc, and whether there can be such a disc.

Imports `formats.errors`, `source`, `words` and, to prove a geometry, the codes by name.
"""
