"""Codes found on a page: what it proposes by itself, until somebody has answered."""
