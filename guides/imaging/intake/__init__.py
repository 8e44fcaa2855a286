"""Taking an uploaded picture in, within bounds."""
