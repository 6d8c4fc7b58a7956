"""Job to master: built, kept, opened, stamped, compared and searched. Imports `job`, the ground and `formats`."""
