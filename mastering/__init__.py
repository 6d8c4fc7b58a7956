"""What is done with discs: masters built, read-backs judged, and everything for the bench."""
