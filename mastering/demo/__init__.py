"""The whole job on an invented shop, with simulated drives, for a newcomer. May import every room but the command line."""
