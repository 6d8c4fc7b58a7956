"""Decisions put into the ledger: batches opened, read-backs recorded. Imports `ledger` and what lies below."""
