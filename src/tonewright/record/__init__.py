"""What a document is made of: its parts and rules, setup, times, findings, provenance."""
