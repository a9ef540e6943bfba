"""Least squares: unknowns from observations, how sure they are, and which reading is wrong.

The one place where equations are solved by least squares and readings are tested against each
other. It knows matrices and standard deviations, and neither table nor machine; it imports NumPy,
SciPy inside the functions that need it, and `marking.errors`.
"""
