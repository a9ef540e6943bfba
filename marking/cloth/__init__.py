"""Cloth and board for one table: canvas, pad and underlay to buy, and hems laid to its lines.

It knows the layout and what is sold, and no machine.
It may import: `marking.arrays`, `marking.errors`, `marking.job`, `marking.layout`,
`marking.measures`.
"""
