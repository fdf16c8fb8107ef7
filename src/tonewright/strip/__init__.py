"""The step-tablet strip: tablet, readings, process response, base printing time."""
