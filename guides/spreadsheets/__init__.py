"""Subjects, locks, issues and marks from somebody's table: read, mapped, tried, and taken on a yes."""
