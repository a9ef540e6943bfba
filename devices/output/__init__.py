"""What `write` leaves for a job: its marking and sections, programs, light, verniers and report.

It brings plan, machines and record together for files, and asks no machine anything.
It may import: `devices.begun`, `devices.history`, `devices.inking`, `devices.job`,
`devices.plotter`, `devices.programs`, `devices.projector.desk`, `devices.projector.light`,
`marking.arrays`, `marking.drawing`, `marking.errors`, `marking.job`, `marking.layout`,
`marking.measures`, `marking.mending`, `marking.output`, `marking.placement`, `marking.proof`,
`marking.record`, `marking.ruling`, `marking.sections`.
"""
