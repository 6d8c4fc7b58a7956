"""What happened to every disc, kept so that it can be trusted: the only home of SQL."""
