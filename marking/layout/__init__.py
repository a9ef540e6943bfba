"""Layout."""
