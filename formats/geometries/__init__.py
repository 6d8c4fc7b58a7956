"""The declared geometries: one a file, named after its id."""
