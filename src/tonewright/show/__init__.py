"""What is shown: text, plots and pages.  Nothing is computed here that a number depends on."""
