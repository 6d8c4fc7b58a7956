"""From counts to decisions: rates, charts, culprits, plans. Pure. Imports `judging` and what lies below."""
