"""Hpgl."""
