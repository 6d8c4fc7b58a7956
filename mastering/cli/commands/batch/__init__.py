"""Batches: discs that are made from one master in one run."""
