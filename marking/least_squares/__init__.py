"""Least squares: unknowns from observations, how sure they are, and which reading is wrong.

The one place that adjusts observations and tests readings against each other. It knows matrices
and standard deviations, no table and no mark; SciPy is imported in the functions that need it.
It may import: `marking.arrays`, `marking.errors`.
"""
