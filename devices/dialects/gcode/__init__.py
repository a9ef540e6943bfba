"""G-code as Grbl reads it: what a program is made of, and status reports.

It may import: `devices.dialects`, `devices.plotter`, `marking.job`.
"""
