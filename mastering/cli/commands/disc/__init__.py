"""Discs by their serial alone: their history, lists of them, what proves them."""
