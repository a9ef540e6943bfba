"""How cross lines are ruled by hand from stub to stub: in which order, from where, how exactly.

It knows the ruled lines of a plan, a person with a rule and a marker, and no machine.
It may import: `marking.arrays`, `marking.errors`, `marking.job`, `marking.layout`,
`marking.measures`, `marking.sections`.
"""
