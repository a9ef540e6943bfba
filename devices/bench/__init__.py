"""The bench page: the whole job in a browser, over the job's folder and what the verbs use.

It edits job.toml, tells how far each step is and serves the page. It knows no layout rule, no
figure and no machine of its own: everything shown is what a verb's own function returns.
It may import: `devices.begun`, `devices.bench.fields`, `devices.bench.languages`,
`devices.driving`, `devices.history`, `devices.inking`, `devices.job`, `devices.new_job`,
`devices.plotter`, `devices.projector.desk`, `devices.serving`, `devices.session`, `devices.ways`,
`marking.begun`, `marking.days`, `marking.errors`, `marking.input`, `marking.job`, `marking.layout`,
`marking.measures`, `marking.mending`, `marking.output`, `marking.record`, `marking.sections`.
"""
