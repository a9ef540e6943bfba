"""Work spread over days: what is inked on which day, what that leaves usable, the morning's check.

It knows a division, a person's pace and the record's checks; no machine.
It may import: `marking.begun`, `marking.job`, `marking.layout`, `marking.measures`,
`marking.record`, `marking.ruling`, `marking.sections`, `marking.tape_marks`.
"""
