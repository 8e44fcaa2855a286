"""The demo series."""
