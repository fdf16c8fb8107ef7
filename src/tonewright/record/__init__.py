"""What documents are made of: entries, findings, and how they are written and read."""
