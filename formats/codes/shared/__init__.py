"""What several recording codes share."""
