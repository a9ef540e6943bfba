"""The projector as a device: what it lights, how it is trued up, and the pages that run it."""
