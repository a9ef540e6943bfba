"""A plotter as data: its profile, its bed and axes, its holders, and its measured correction.

It knows no dialect and no port.
It may import: `marking.arrays`, `marking.errors`, `marking.job`, `marking.least_squares`,
`marking.measures`, `marking.network`, `marking.record`, `marking.sections`.
"""
