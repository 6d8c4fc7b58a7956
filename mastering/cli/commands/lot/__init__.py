"""The lots of blanks that the bench has."""
