"""A subject's years as a picture."""
