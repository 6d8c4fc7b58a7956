"""A shop: a folder with its settings, its ledger, its masters and backups."""
