"""The finished cover: which distances prove it, and the verdict that they allow.

It takes no placement's word.
It may import: `marking.arrays`, `marking.errors`, `marking.input`, `marking.job`, `marking.layout`,
`marking.least_squares`, `marking.measures`, `marking.sections`.
"""
