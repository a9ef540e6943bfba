"""Placement."""
