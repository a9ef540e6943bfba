"""From readings to where a device stands: blunders named, joins met, the section redrawn for it.

It knows one section and the network around it.
It may import: `marking.arrays`, `marking.errors`, `marking.least_squares`, `marking.measures`,
`marking.network`, `marking.record`, `marking.sections`.
"""
