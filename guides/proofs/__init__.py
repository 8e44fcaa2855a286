"""Scans of printed pages laid over their guides."""
