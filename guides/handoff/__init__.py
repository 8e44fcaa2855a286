"""Handing off: what a separator needs of an issue or a page, so that nothing is left to guess."""
