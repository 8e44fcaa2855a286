"""The house's own chart: sheets to print, their scans, and the press conditions made of them."""
