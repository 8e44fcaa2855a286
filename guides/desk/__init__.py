"""Marking a page."""
