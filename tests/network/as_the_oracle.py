"""A plan of the independent model of covers in the network's own terms."""

from __future__ import annotations

import numpy as np
from msgspec.structs import replace

from marking.network.error_model import ErrorModel
from marking.network.fence import Against, Clamping
from marking.network.network import KnownMark, Reading, Setup, known
from marking.network.pose import as_planned
from marking.network.worth_of_readings import gain, with_inked
from marking.sections.locating_marks import Mark

SHARED = [
    "pointer",
    "scale",
    "cloth",
    "stops",
    "contact",
    "bow",
    "rail_along",
    "rail_ends",
    "row_zero",
    "row_ends",
    "row_sag",
    "graduation",
    "mark",
]


def model_of(errors) -> ErrorModel:
    """What the program is told of the model's errors."""
    return ErrorModel(**{name: getattr(errors, name) for name in SHARED})


def targets_of(plan) -> dict[str, KnownMark]:
    """The plan's tape marks, and a mark for each reading of earlier ink."""
    made = {
        f"t{i}": KnownMark(Mark(f"t{i}", tuple(map(float, mark.at)), "control"))
        for i, mark in enumerate(plan.marks)
    }
    for i, reading in enumerate(plan.readings):
        if reading.of is not None:
            at = tuple(map(float, reading.at))
            made[f"w{i}"] = KnownMark(Mark(f"w{i}", at, "cross"), plan.sections[reading.of].id, 0.0)
    return made


def name_of(plan, i) -> str:
    """The mark that the plan's i-th reading is of."""
    mark = plan.readings[i].mark
    return f"w{i}" if mark is None else f"t{mark}"


def clampings_of(plan) -> list[Clamping]:
    """The plan's clampings."""
    return [
        Clamping(f"{f}", c.x0, c.x1, c.set_to and tuple(f"t{i}" for i in c.set_to))
        for f, c in enumerate(plan.clampings)
    ]


def placed_in_turn(plan, errors, datum, read, sent, inked=None):
    """The network after all of the plan's readings; `read` and `sent` (runs, readings, 2).

    `inked(k, network)` is told of each state once section k is placed.
    """
    model, clampings = model_of(errors), clampings_of(plan)
    network = known(targets_of(plan).values(), datum, model)
    # Struck lines reach over the whole table here, further than the marks.
    network = replace(network, span=(0.0, plan.length), mean=np.zeros((0, len(read))))
    for k, _section in enumerate(plan.sections):
        network = placed(plan, k, network, clampings, errors.reading, read, sent)
        if inked is not None:
            inked(k, network)
    return network


def placed(plan, k, network, clampings, reading_sd, read, sent):
    """The network once section k is placed as well."""
    section, middle = plan.sections[k], np.array(plan.sections[k].centre)
    mine = [i for i, reading in enumerate(plan.readings) if reading.section == k]
    readings = tuple(
        Reading(name_of(plan, i), plan.target(plan.readings[i]), reading_sd) for i in mine
    )
    against = None if section.fence is None else Against(clampings[section.fence], section.window)
    gained = gain(network, readings, middle, "rigid", against)
    off = np.zeros((len(gained.carrier), len(read)))
    for row, i in enumerate(mine):
        of = plan.readings[i].of
        lies = np.array(plan.target(plan.readings[i]))
        if of is not None:
            lies = np.array(plan.sections[of].centre) + sent[:, i]
        off[2 * row : 2 * row + 2] = (lies - middle - read[:, i]).T
    setup = Setup(section.id, as_planned(middle), readings)
    return with_inked(gained, setup, gained.carrier @ gained.network.mean + off)
