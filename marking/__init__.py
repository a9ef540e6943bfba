"""The marking engine: it knows the table and no machine.

One pipeline in one direction: job, survey, layout, sections, writers.
"""
