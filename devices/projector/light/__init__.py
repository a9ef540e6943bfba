"""From the table to pixels: throw, lens, mapping, the overlay and its files.

It knows light, and nothing of who looks.
It may import: `devices.projector`, `marking.arrays`, `marking.drawing`, `marking.errors`,
`marking.job`, `marking.lettering`, `marking.measures`, `marking.sections`.
"""
