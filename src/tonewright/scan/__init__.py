"""Reading a print or a step row from a scan: marks, places, samples, densities."""
