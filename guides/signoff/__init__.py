"""An issue's way out: what is still open, who signed it off, and what opens it again."""
