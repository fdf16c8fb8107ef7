"""A curve handed over to other programs, and each file read back before it is put in place."""
