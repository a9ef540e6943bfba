"""Begun."""
