"""Where the device stands: marks read by keys or file, slips, and whether it still stands there.

It knows placements, and inks nothing.
It may import: `devices.begun`, `devices.driving`, `devices.history`, `devices.job`,
`devices.plotter`, `devices.session`, `marking.arrays`, `marking.begun`, `marking.errors`,
`marking.job`, `marking.layout`, `marking.measures`, `marking.mending`, `marking.network`,
`marking.placement`, `marking.proof`, `marking.record`, `marking.sections`, `marking.tape_marks`.
"""
