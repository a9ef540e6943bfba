"""HP-GL: instructions, what a program is made of, status words, the trial of a buffer.

It may import: `devices.dialects`, `devices.plotter`, `marking.arrays`, `marking.errors`,
`marking.job`, `marking.sections`.
"""
