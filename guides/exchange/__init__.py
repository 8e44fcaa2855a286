"""Everything in and out of a series: archives, spreadsheets, lists and palettes."""
