"""Display drivers: each shows the same grid of 4 rows of 20 characters."""
