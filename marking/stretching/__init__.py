"""A cover marked before it is stretched on: where the table's own sides say its lines belong.

It knows the layout and a tape, no division and no machine.
It may import: `marking.arrays`, `marking.job`, `marking.layout`, `marking.measures`.
"""
