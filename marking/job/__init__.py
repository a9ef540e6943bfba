"""A job folder: the keys of job.toml, stock profiles merged in, and what a begun job keeps.

It knows the marking's keys; machines add their own from outside.
It may import: `marking.errors`, `marking.input`, `marking.measures`, `marking.put_off`,
`marking.shipped_files`.
"""
