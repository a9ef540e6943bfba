"""What is printed on paper, kind by kind: which pages of the marking go into which files.

It draws nothing and writes no file; pages are `marking`'s.
It may import: `devices.job`, `marking.drawing`, `marking.errors`, `marking.full_size`,
`marking.hand`, `marking.job`, `marking.keep`, `marking.layout`, `marking.measures`,
`marking.record`, `marking.ruling`, `marking.sheets`.
"""
