"""The whole of `job.toml`: the marking's keys, and those of the machines that ink or light it."""

from typing import Self

from pydantic import Field, model_validator

from devices.plotter.profile import Plotter
from devices.projector.profile import Projector
from marking.job.keys import MarkingJob


class Job(MarkingJob):
    """A job with its machines; the default profiles are merged in when it is read."""

    plotter: Plotter = Field(json_schema_extra={"profile": "flatbed-a3"})
    projector: Projector = Field(json_schema_extra={"profile": "ceiling-1080p"})

    @model_validator(mode="after")
    def _pens_stand_in_the_machine(self) -> Self:
        """The default removable pen has a holder of its own only where the machine has a second.

        A holder that job.toml names stays as it is named; `devices.plotter.holders` refuses it
        where the machine lacks it.
        """
        if self.plotter.slots > 1 or "removable" in self.pens.model_fields_set:
            return self
        removable = self.pens.removable.model_copy(update={"slot": 1})
        pens = self.pens.model_copy(update={"removable": removable})
        return self.model_copy(update={"pens": pens})
