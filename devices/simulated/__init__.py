"""Simulated machines, written from the machines' manuals and never from what is sent to them.

They know bytes in, bytes out, time and cloth; nothing of jobs, sections or the sender.
It may import: `devices.plotter`, `marking.drawing`.
"""
