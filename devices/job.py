"""The whole of `job.toml`: the marking's keys, and those of the machines that ink or light it."""

from __future__ import annotations

from pydantic import Field

from devices.plotter import Plotter
from devices.projector import Projector
from marking.job import MarkingJob


class Job(MarkingJob):
    """A job with its machines; the default profiles are merged in when it is read."""

    plotter: Plotter = Field(json_schema_extra={"profile": "flatbed-a3"})
    projector: Projector = Field(json_schema_extra={"profile": "ceiling-1080p"})
