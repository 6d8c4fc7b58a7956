"""What the declarations of one family are written in. Imported by declarations only."""
