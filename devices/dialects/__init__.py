"""Dialects."""
