"""Numeric helpers: arrays in, arrays out, and no word of the darkroom."""
