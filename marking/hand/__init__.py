"""Marking by hand: what the tape reads at each line, where each strip lies, what a hand leaves.

It works out what the sheets say and draws none of them; it knows no machine.
It may import: `marking.arrays`, `marking.errors`, `marking.job`, `marking.layout`,
`marking.lettering`, `marking.measures`, `marking.network`, `marking.ruling`, `marking.sections`,
`marking.tape_marks`, `marking.ways`.
"""
