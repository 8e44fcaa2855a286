"""The tints of a series, how its codes read, and how alike they print."""
