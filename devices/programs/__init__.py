"""The order of a program, whichever dialect it is in, and whole programs as files.

It knows strokes and pens, not a dialect's words, and no machine that could be asked.
It may import: `devices.dialects`, `devices.dialects.gcode`, `devices.dialects.hpgl`,
`devices.plotter`, `marking.job`, `marking.sections`.
"""
