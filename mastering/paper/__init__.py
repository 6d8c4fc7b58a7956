"""Rows to bytes: what is printed. Is given values and never asks the ledger. Imports `words` and what lies below."""
