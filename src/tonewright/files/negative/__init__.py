"""From image files to negatives on film."""
