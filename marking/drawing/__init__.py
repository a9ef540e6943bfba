"""One page and one sheet to draw on, whatever it becomes.

It knows strokes, text and millimetres, not what a picture is of.
It may import: `marking.arrays`, `marking.job`, `marking.layout`, `marking.lettering`,
`marking.measures`, `marking.sections`.
"""
