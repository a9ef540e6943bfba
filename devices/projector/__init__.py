"""The projector as a device: what it lights, how it is trued up, and the pages that run it.

Directly here stands its profile alone.
It may import: `marking.job`.
"""
