"""What the guides' pages do: fetch, form, call, render."""
