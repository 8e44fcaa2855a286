"""What the bible's pages do: fetch, form, call, render."""
