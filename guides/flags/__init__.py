"""Disagreements between marks and the bible, and waivers of them."""
