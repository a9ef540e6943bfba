"""Files that a person wrote, read no further than such files ever are: text, TOML, rows of a table.

It knows bounds and faults, not what the values mean.
It may import: `marking.errors`, `marking.measures`.
"""
