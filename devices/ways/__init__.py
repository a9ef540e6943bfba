"""What each machine makes of a marking, as ways: its set-downs, its ink, what it will hold.

It reckons and asks nobody; the ways themselves are `marking.ways`'s.
It may import: `devices.job`, `devices.machine_zones`, `devices.plotter`,
`devices.projector.trueup`, `marking.errors`, `marking.input`, `marking.job`, `marking.layout`,
`marking.measures`, `marking.network`, `marking.sections`, `marking.shipped_files`,
`marking.tape_marks`, `marking.ways`.
"""
