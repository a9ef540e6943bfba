"""A layout divided into what one set-down can ink: joins, pieces, locating marks, order.

It knows zones by their reach, and no machine.
It may import: `marking.arrays`, `marking.errors`, `marking.job`, `marking.layout`,
`marking.measures`.
"""
