"""Guides, marks, scene areas, waivers and notes, and whether a mark agrees with the bible."""
