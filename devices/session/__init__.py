"""A person at a machine with a job: keys, words, progress, who holds the job, what may be lost.

It knows what is common to setting down and inking.
It may import: `devices.conversation`, `devices.dialects`, `devices.driving`, `devices.job`,
`devices.machine_zones`, `devices.plotter`, `marking.arrays`, `marking.begun`, `marking.errors`,
`marking.layout`, `marking.measures`, `marking.proof`, `marking.record`, `marking.sections`.
"""
