"""What a begun job goes on under: layout, division and tape marks as data, and what is inked.

It knows the record's meaning, and no machine.
It may import: `marking.errors`, `marking.job`, `marking.layout`, `marking.measures`,
`marking.network`, `marking.placement`, `marking.record`, `marking.sections`, `marking.tape_marks`.
"""
