"""Whether ink stays where it is: how it is tried on white cloth, the answers, and what they allow.

It knows pens and the record, no machine.
It may import: `marking.begun`, `marking.errors`, `marking.input`, `marking.job`,
`marking.measures`, `marking.record`.
"""
