"""How plotters are spoken to: what a dialect writes, what it asks, and how answers are read.

The packages below are one dialect each; nothing else knows which is spoken.
It may import: `devices.plotter`, `marking.job`, `marking.sections`.
"""
