"""Palettes: which issues use which tints, how often, and how two palettes differ."""
