"""The disc drives that the bench has."""
