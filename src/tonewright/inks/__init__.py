"""A chart of inks, and which of them to print in."""
