"""The target to print: its document, layout and drawing."""
