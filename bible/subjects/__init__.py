"""Subjects, costumes and parts."""
