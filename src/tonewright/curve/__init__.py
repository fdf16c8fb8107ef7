"""The correction curve: responses, aim, fit, renewal, export."""
