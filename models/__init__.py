"""Cards, weights and small tables that the package reads."""
