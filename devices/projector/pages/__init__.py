"""The stage and the remote: a local server, who is connected, plain HTML and JavaScript.

It may import: `devices.projector.desk`, `devices.serving`, `marking.errors`, `marking.record`.
"""
