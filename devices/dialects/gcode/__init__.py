"""Gcode."""
