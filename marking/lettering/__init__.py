"""The stroke lettering that a pen draws: glyphs as polylines.

It knows a face, no numeral and no table.
It may import: `marking.arrays`, `marking.errors`, `marking.shipped_files`.
"""
