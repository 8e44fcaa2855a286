"""The continuity report: what held, what drifted and from when, and which codes are taken for which."""
