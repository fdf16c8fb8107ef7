"""One reader and writer of images."""
