"""Inking."""
