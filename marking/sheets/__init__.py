"""The sheets to carry to the table: by hand, its strips and stencils, and the whole job on paper.

They draw what others worked out, and work out nothing but where it stands on the paper.
It may import: `marking.arrays`, `marking.drawing`, `marking.errors`, `marking.hand`, `marking.job`,
`marking.layout`, `marking.measures`, `marking.output`, `marking.proof`, `marking.sections`.
"""
