"""Measures."""
