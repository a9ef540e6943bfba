"""What is written for a person or a program: pictures, sheets, report, JSON, whole sets of files.

It draws what others worked out, and works out nothing.
It may import: `marking.arrays`, `marking.cloth`, `marking.drawing`, `marking.errors`,
`marking.input`, `marking.job`, `marking.layout`, `marking.measures`, `marking.network`,
`marking.proof`, `marking.ruling`, `marking.sections`, `marking.stretching`, `marking.tape_marks`,
`marking.ways`.
"""
