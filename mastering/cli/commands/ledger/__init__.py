"""The ledger itself: its rows as text, its proof, its copies."""
