"""What the bench's workers do: one call of the library each, plain arguments and results."""
