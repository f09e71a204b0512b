"""Reports: computations for a whole site at once, and their pages."""
