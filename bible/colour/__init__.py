"""Colour without the web: tints, the codes people write for them, charts, presses and differences.

Nothing in this package imports Django; arrays in, arrays out.
"""
