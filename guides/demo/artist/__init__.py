"""The drawing and printing of the demo's pages."""
