"""A page as it would print."""
