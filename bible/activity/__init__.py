"""What was done in a series, by whom and when."""
