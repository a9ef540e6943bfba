"""Drawing."""
