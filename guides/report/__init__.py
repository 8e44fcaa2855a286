"""The continuity report."""
