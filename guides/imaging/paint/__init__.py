"""Reading the codes of paint."""
