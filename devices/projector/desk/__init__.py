"""Desk."""
