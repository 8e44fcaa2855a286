"""Who does which page by when, and what to read for it."""
