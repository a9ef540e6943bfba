"""The conversation with a machine as a state machine without I/O: bytes in, events and bytes out.

It knows answers and time, no port, no record and no section.
It may import: `devices.dialects`, `devices.plotter`.
"""
