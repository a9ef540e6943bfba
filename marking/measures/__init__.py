"""What everything else may name: lengths as people write and show them, steel tapes, counts, ties.

It knows no table, no job and no mark.
It may import: `marking.arrays`, `marking.errors`.
"""
