"""The story of the demo series as data."""
