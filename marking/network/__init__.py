"""How well places are known: poses, readings, and all errors so far with their covariance.

It knows marks and setups, no verdict.
It may import: `marking.arrays`, `marking.errors`, `marking.job`, `marking.least_squares`,
`marking.measures`, `marking.sections`.
"""
