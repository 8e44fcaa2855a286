"""Reading a proof against its guide."""
