"""The virtual darkroom and scanner, with known truth."""
