"""From image values to the codes of a negative: the numbers, without any file."""
