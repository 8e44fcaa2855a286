"""Subjects, locks, issues and marks from tables."""
