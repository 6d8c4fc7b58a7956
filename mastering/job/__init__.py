"""A publisher's job file, read into a frozen `Job`, with all its problems at once. Imports the ground and `formats`."""
