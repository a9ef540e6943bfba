"""The check of a plotter on scrap: the test sheet, and what its measures say.

It may import: `devices.begun`, `devices.conversation`, `devices.dialects`, `devices.driving`,
`devices.history`, `devices.job`, `devices.machine_zones`, `devices.plotter`, `devices.programs`,
`devices.session`, `marking.arrays`, `marking.errors`, `marking.input`, `marking.job`,
`marking.layout`, `marking.lettering`, `marking.measures`, `marking.record`.
"""
