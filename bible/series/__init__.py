"""A series, its issues and their running order, its press conditions."""
