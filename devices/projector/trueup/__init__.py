"""Trueup."""
