"""What a document is made of: setup, times, schema, provenance."""
