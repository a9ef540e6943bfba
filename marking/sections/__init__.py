"""Sections."""
