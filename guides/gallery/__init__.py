"""The page of every component."""
