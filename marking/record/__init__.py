"""The job's history as SQLite keeps it: tables, rows, damage and what is left of it.

It knows rows and times, not what they mean.
It may import: `marking.errors`, `marking.input`, `marking.job`, `marking.layout`,
`marking.measures`.
"""
