"""An issue's way out."""
