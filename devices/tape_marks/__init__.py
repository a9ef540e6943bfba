"""Tape marks of a job with its machine: what they are chosen for, and how they are kept.

Which they are and what they will hold is `marking.tape_marks`'s; it asks nobody.
It may import: `devices.begun`, `devices.history`, `devices.job`, `devices.plotter`,
`devices.setting_down`, `devices.ways`, `marking.begun`, `marking.drawing`, `marking.errors`,
`marking.job`, `marking.layout`, `marking.measures`, `marking.network`, `marking.output`,
`marking.record`, `marking.sections`, `marking.tape_marks`.
"""
