"""What the paint says at the marks."""
