"""A job's folder as it is begun: from a table's size, like another job, or from a keep page.

It writes job.toml, the profiles beside it and the schema for editors, and never touches a job that
is there. It prints nothing; what it refuses it names as `start` takes it.
It may import: `devices.job`, `devices.job_text`, `marking.errors`, `marking.input`, `marking.job`,
`marking.keep`, `marking.layout`, `marking.measures`, `marking.output`, `marking.record`,
`marking.shipped_files`, `marking.ways`.
"""
