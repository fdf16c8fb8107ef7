"""What was read from a scan, on disk."""
