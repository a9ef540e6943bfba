"""A job as text that can be typed or scanned: what a page keeps of it, and reading it back.

It knows job.toml, lines with their checks and codes of squares, and no machine: who asks gives the
model of the whole file.
It may import: `marking.drawing`, `marking.errors`, `marking.input`, `marking.job`,
`marking.measures`, `marking.shipped_files`.
"""
