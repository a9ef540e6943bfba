"""Truing up: targets, landings, the mapping they give, slips, bumps, and what it is worth.

It knows landings, no page.
It may import: `devices.job`, `devices.projector`, `devices.projector.light`, `marking.arrays`,
`marking.errors`, `marking.job`, `marking.layout`, `marking.least_squares`, `marking.measures`,
`marking.network`, `marking.sections`.
"""
