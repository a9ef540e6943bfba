"""The page's languages: a gettext catalogue each, from the English that the server speaks.

It knows files of words, and how the page calls keys of job.toml.
It may import: `devices.bench.fields`.
"""
