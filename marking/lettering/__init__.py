"""Lettering."""
