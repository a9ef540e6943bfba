"""The check of a plotter on scrap: the test sheet, and what its measures say.

It may import: `devices.dialects`, `devices.plotter`, `devices.programs`, `marking.arrays`,
`marking.errors`, `marking.job`, `marking.layout`, `marking.lettering`, `marking.measures`.
"""
