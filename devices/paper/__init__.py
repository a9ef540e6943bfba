"""What is printed on paper, kind by kind: which pages of the marking go into which files.

It draws nothing and writes no file; pages are `marking`'s.
It may import: `devices.begun`, `devices.dialects`, `devices.history`, `devices.inking`,
`devices.job`, `devices.plotter`, `devices.setting_down`, `devices.ways`, `marking.begun`,
`marking.cloth`, `marking.days`, `marking.drawing`, `marking.errors`, `marking.fastness`,
`marking.full_size`, `marking.hand`, `marking.job`, `marking.keep`, `marking.layout`,
`marking.measures`, `marking.output`, `marking.proof`, `marking.record`, `marking.ruling`,
`marking.sections`, `marking.sheets`, `marking.stretching`, `marking.tape_marks`.
"""
