"""Finding and mending what faults leave behind, and long series by machine."""
