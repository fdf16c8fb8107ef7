"""Measured patches: columns of a table, readings, their uncertainty."""
