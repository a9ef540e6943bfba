"""What every page stands behind: pairing, guards, one connection, which taps were answered.

It knows no job.
It may import: `marking.errors`.
"""
