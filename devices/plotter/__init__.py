"""Plotter."""
