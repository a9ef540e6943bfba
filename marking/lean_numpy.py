"""numpy, imported without what it makes ready for those who ask it for help, or pickle its arrays.

To be imported before numpy, and from near the top: below many imports of imports, the compilation
of its annotations throws away and takes anew a piece of the interpreter's stack at every call
(CPython 3.11), which made a third of the time of all of it. Other versions of numpy, which have
these modules elsewhere, are imported whole.
"""

from marking.put_off import put_off

with put_off(
    "ctypes.cast",
    "numpy._core._add_newdocs.add_newdoc",
    "numpy._core._add_newdocs_scalars.add_newdoc_for_scalar_type",
    "numpy._typing.NDArray",
    "pickle.dump",
    "pickle.dumps",
    "pickle.load",
    "pickle.loads",
):
    import numpy

__all__ = ["numpy"]
