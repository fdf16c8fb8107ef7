"""Documents kept over time: what is due, what has drifted, curves side by side."""
