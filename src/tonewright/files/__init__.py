"""The only part that opens files: readings, documents, images, profiles, safe writing."""
