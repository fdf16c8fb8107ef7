"""Pages to print: one to pin up, one to take into the darkroom."""
