"""The page's languages: a gettext catalogue each, from the English that the server speaks.

It knows files of words and no page. It may import nothing.
"""
