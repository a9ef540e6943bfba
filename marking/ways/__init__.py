"""The ways to get one marking onto the cover: what each asks of a person and what it holds.

It knows no machine: what a machine reaches, draws and needs is handed in as data.
It may import: `marking.arrays`, `marking.job`, `marking.layout`, `marking.measures`,
`marking.network`, `marking.record`, `marking.ruling`.
"""
