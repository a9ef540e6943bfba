"""The fields of the bench page: where each key of job.toml stands, its name there, what it takes.

It knows keys and words, and no job. Help and kinds come from the models that check job.toml.
It may import: `devices.job`, `marking.errors`, `marking.job`, `marking.layout`, `marking.measures`,
`marking.shipped_files`.
"""
