"""What is inked anew on a cover that is inked: chosen lines and numerals, or what lies in a box.

It owns what was asked for and what has become of it, how wrong ink is struck out, and the marks
around that place the new ink; it knows no machine.
It may import: `marking.arrays`, `marking.begun`, `marking.errors`, `marking.job`, `marking.layout`,
`marking.measures`, `marking.network`, `marking.proof`, `marking.record`, `marking.sections`.
"""
