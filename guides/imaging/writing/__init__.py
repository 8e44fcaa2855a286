"""Codes written on a page by hand: found, read, followed to their areas, given to their parts."""
