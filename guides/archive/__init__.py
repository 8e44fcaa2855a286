"""A series as one file, and back."""
