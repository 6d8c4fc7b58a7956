"""What file systems are built of: images, names, owners, chains, places, maps and tables."""
