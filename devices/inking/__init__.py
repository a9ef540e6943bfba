"""Sections in turn, each from set-down to done: what may be inked, pen changes, rehearsal.

The last room before ink.
It may import: `devices.begun`, `devices.dialects`, `devices.driving`, `devices.history`,
`devices.job`, `devices.plotter`, `devices.session`, `devices.setting_down`, `devices.simulated`,
`devices.what_moves_ink`, `marking.begun`, `marking.days`, `marking.drawing`, `marking.errors`,
`marking.fastness`, `marking.job`, `marking.layout`, `marking.measures`, `marking.mending`,
`marking.output`, `marking.proof`, `marking.record`, `marking.sections`.
"""
