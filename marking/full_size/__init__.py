"""The marking at true size on paper or on canvas printed in one piece: whole, in panels, in tiles.

It knows a layout and sheets to print it on, and no printer but what it prints across and how far
off it is.
It may import: `marking.arrays`, `marking.cloth`, `marking.drawing`, `marking.errors`,
`marking.job`, `marking.layout`, `marking.measures`, `marking.output`, `marking.sections`.
"""
