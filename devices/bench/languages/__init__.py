"""The page's languages: a gettext catalogue each, from the English that the server speaks.

It knows files of words, how the page calls keys of job.toml, and what it has in a terminal's place.
It may import: `devices.bench.fields`.
"""
