"""Documents kept over time: what is on the shelf, what is due, what has drifted."""
