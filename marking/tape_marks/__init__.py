"""Marks set by tape before any ink: which, what they will hold, and how they are set out.

It forecasts; it keeps nothing.
It may import: `marking.arrays`, `marking.errors`, `marking.job`, `marking.layout`,
`marking.least_squares`, `marking.measures`, `marking.network`, `marking.placement`,
`marking.record`, `marking.ruling`, `marking.sections`.
"""
