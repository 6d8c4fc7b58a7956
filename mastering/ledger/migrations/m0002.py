"""Version 2: indexes that answer the questions about rates alone. Two that others made needless are gone."""

STATEMENTS = (
    "DROP INDEX ix_discs_batch",
    "DROP INDEX ix_writings_disc",
    "CREATE INDEX discs_by_batch ON discs (batch, verdict, rewritten, first_bad, simulated)",
    "CREATE INDEX discs_by_lot ON discs (lot, verdict, rewritten, first_bad, simulated)",
    "CREATE INDEX sides_by_side ON sides (side, batch, verdict, writing, first_bad, simulated)",
    "CREATE INDEX sides_by_writer ON sides (disc, wrote, verdict, writing, first_bad, simulated)",
    "CREATE INDEX sides_by_reader ON sides (disc, read_by, verdict, writing, first_bad, simulated)",
)
