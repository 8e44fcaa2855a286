"""Rules that shift tints on purpose."""
