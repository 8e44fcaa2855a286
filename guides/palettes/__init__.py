"""Which issues use which tints."""
