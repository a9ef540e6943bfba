"""A cover that was marked before, by hand or bought: what to measure on it, and how far off it is.

It knows the layout that the cover should have, and no machine, section or record.
It may import: `marking.arrays`, `marking.errors`, `marking.input`, `marking.job`, `marking.layout`,
`marking.measures`, `marking.proof`.
"""
