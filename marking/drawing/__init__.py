"""One drawing for whatever is not ink on cloth, and what it becomes: SVG, PDF or PNG.

It knows shapes, set type and paper, not what a picture is of.
It may import: `marking.arrays`, `marking.put_off`.
"""
