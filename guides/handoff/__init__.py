"""What the separator receives."""
