"""Seeded discs and drives that are not there: reads with named faults. All randomness of the program lives here."""
