"""The house's own chart: a sheet to print, its scan read, a press condition made of it."""
