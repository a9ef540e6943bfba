"""Trial."""
