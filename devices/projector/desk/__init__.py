"""What the person at the cover does: a pure machine, its memory, and what pages are told.

It knows no connection.
It may import: `devices.job`, `devices.machine_zones`, `devices.projector.light`,
`devices.projector.trueup`, `devices.serving`, `marking.begun`, `marking.errors`, `marking.job`,
`marking.layout`, `marking.measures`, `marking.record`, `marking.sections`.
"""
