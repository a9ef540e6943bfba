"""A program sent piece by piece through a port, each stroke recorded once the machine confirms it.

It knows a machine and the record, no person.
It may import: `devices.conversation`, `devices.dialects`, `devices.plotter`, `devices.programs`,
`marking.errors`, `marking.job`, `marking.record`, `marking.sections`.
"""
