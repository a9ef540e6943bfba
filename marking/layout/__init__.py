"""The real top from its measurements, and every line, hem and numeral on it: the `Layout`.

It knows the table, and nothing of how ink gets there.
It may import: `marking.arrays`, `marking.errors`, `marking.job`, `marking.least_squares`,
`marking.lettering`, `marking.measures`.
"""
