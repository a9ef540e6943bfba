"""Driving."""
