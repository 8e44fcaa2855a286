"""Bringing pages in, and marks that come along to a new scan."""
