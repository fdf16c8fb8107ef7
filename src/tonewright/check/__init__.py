"""A print against its curve: verdict, cause, what to do; and the curve refined by it."""
