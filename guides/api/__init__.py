"""The guides' data as JSON for other programs."""
