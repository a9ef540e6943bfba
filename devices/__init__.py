"""The machines: plotter dialects and the commands that bring table and machine together.

This package imports `marking`, never the other way.
"""
