"""What containers share: how times between transitions are packed."""
