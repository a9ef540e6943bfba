"""The text of a new job.toml, every key with its meaning, and the schema that editors check by."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from devices.job import Job

if TYPE_CHECKING:
    from marking.measures.lengths import Units

SCHEMA_FILE = "job.schema.json"

_INCHES = {
    "tolerance": "1/16 in",
    "pitch": "1 in",
    "margin": "1 in",
    "heavy_every": "12",
    "depth": "8 in",
    "folds": '"double 4 in", "double 3 in", "double 1 1/2 in", "single 1 in"',
    "every": "1",
    "clear": "1/8 in",
    "view_from": "36 in",
    "number_apart": "3 ft",
    "line_at": "54 in",
    "part_at": "27 in",
    "part_from": "1 ft",
    "part_to": "9 ft",
    "reach_depth": "30 in",
    "reach_span": "48 in",
    "reading": "1/16 in",
    "division": "1/32 in",
    "allowed_total": "1/8 in",
    "fence_length": "8 ft",
    "paper": "letter",
    "paper_gap": "",
    "none": "0 in",
    "thickness": "1 1/2 in",
    "wrap": "4 in",
    "widths": '"36 in", "48 in", "60 in", "72 in", "84 in", "96 in", "120 in"',
    "staple_spacing": "1 1/2 in",
    "sheet": '"8 ft", "4 ft"',
    "tip": "0.8 mm",
}
_MILLIMETRES = {
    "tolerance": "1.5 mm",
    "pitch": "1 cm",
    "margin": "25 mm",
    "heavy_every": "10",
    "depth": "20 cm",
    "folds": '"double 10 cm", "double 8 cm", "double 4 cm", "single 3 cm"',
    "every": "5",
    "clear": "6 mm",
    "view_from": "90 cm",
    "number_apart": "1 m",
    "line_at": "137 cm",
    "part_at": "70 cm",
    "part_from": "30 cm",
    "part_to": "250 cm",
    "reach_depth": "75 cm",
    "reach_span": "120 cm",
    "reading": "1 mm",
    "division": "1 mm",
    "allowed_total": "3 mm",
    "fence_length": "2.4 m",
    "paper": "a4",
    "paper_gap": "    ",
    "none": "0 mm",
    "thickness": "4 cm",
    "wrap": "10 cm",
    "widths": '"90 cm", "120 cm", "150 cm", "180 cm", "210 cm", "240 cm", "300 cm"',
    "staple_spacing": "4 cm",
    "sheet": '"244 cm", "122 cm"',
    "tip": "1 mm",
}


def job_text(
    title: str,
    units: Units,
    table: str | None,
    length: str,
    width: str,
    plotter: str | None,
    removable: int,
    projector: str | None = None,
) -> str:
    """A commented job.toml for a stock table, or for a length and a width as people write them.

    A machine that is None stands there behind hashes. `removable` is the holder that the removable
    pen stands in, on this plotter.
    """
    words = _INCHES if units == "in" else _MILLIMETRES
    top = (
        f"profile = {_text(table)}   # {length} by {width}"
        if table is not None
        else f"length = {_text(length)}\nwidth = {_text(width)}"
    )
    return _TEMPLATE.format(
        **words,
        title=_text(title),
        units=units,
        top=top,
        plotter=_machine("plotter", plotter or "flatbed-a3", plotter is None),
        projector=_machine("projector", projector or "ceiling-1080p", projector is None),
        removable=removable,
        schema_file=SCHEMA_FILE,
        per_line=1,
        length_hint=length.replace('"', '\\"'),
        width_hint=width.replace('"', '\\"'),
    )


def job_schema() -> str:
    """The JSON Schema of job.toml, from the models that check it."""
    schema = Job.model_json_schema(by_alias=True)
    _allow_profiles(schema)
    return json.dumps(schema, indent=1, ensure_ascii=False) + "\n"


def _allow_profiles(schema: dict[str, object]) -> None:
    """A table that stands on a profile may name it, and then need not give what it gives."""
    definitions = schema["$defs"]
    assert isinstance(definitions, dict)
    for name in ("TopTable", "Plotter", "Projector", "Pen"):
        definitions[name]["properties"]["profile"] = {
            "type": "string",
            "description": "A stock profile, or a .toml file in the job's folder",
        }
        definitions[name].pop("required", None)
    schema["required"] = ["table"]


def _machine(kind: str, name: str, hashed: bool) -> str:
    """A machine's table, behind hashes where nobody named one."""
    notes = {
        "plotter": "any key of the profile may be set below it",
        "projector": "put beside it what differs: pixels, distance, picture_width, tilt",
    }
    lines = (f"[{kind}]", f"profile = {_text(name)}".ljust(29) + f"# {notes[kind]}")
    return "\n".join(f"# {line}" if hashed else line for line in lines)


def _text(value: str) -> str:
    """`value` as a TOML basic string; JSON's escapes are TOML's, but for one that JSON lets be."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


_TEMPLATE = """\
#:schema ./{schema_file}
# A job for canvasrule. Lengths are text with a unit: "8 1/4 in", "5' 4\\"", "38 mm", "1.2 m".
schema = 1
title = {title}
units = "{units}"              # "in" or "mm": what people see
tolerance = "{tolerance}"      # how far any finished line may lie from true

[table]
{top}
against_wall = false         # true: the far edge stands against a wall, and nobody works there
measured_to = "board"        # the bare board's edges; or "batten": a line struck along a batten
                             #   that is held against the padded edge, with a square held to it
edge_radius = "{none}"         # how round that edge is: no ink where the top curves away

# Measure the real top before inking: four sides and two diagonals, then take away the hashes.
# "canvasrule layout" says how large a slip of the tape would pass, and what more would show it.
# [table.survey]
# near = "{length_hint}"
# far = "{length_hint}"
# zero_end = "{width_hint}"
# far_end = "{width_hint}"
# diagonal_from_zero_near = ""   # from the corner of zero end and near edge to the one across
# diagonal_from_zero_far = ""    # from the corner of zero end and far edge to the one across
# reading = "{reading}"          # how finely the tape was read
## Each of these is one measurement more, and any may be left out:
## middle = ""                # across, from the middle of the near edge to that of the far edge
## half_from_zero_near = ""   # from that corner to the middle of the far edge
## half_from_far_near = ""    # from that corner to the middle of the far edge
## half_from_zero_far = ""    # from that corner to the middle of the near edge
## half_from_far_far = ""     # from that corner to the middle of the near edge
## square_along = ""          # the zero end's lean, all three: a mark on the near edge, 4 ft or
## square_across = ""         #   so from the zero corner; one on the zero end, 3 ft from it;
## square_between = ""        #   and the tape between the two, 5 ft where the corner is square
## again = {{ zero_end = "", far_end = "" }}   # any of the six, the tape laid out a second time

[grid]
pitch = "{pitch}"              # from one line to the next
margin = "{margin}"            # near and far edge to the first long line
end_margin = "{margin}"        # zero end to the zero line, and the least at the far end
heavy_every = {heavy_every}             # every n-th cross line heavier; 0 for none
half_ticks = false           # short ticks at half pitch along both long sides
bias = []                    # cross-line numbers where 45-degree lines start
long_lines = "bands"         # hem bands only; or "full": across the whole width
centre_line = false          # a heavy long line midway between the first long lines
lines = []                   # long lines of your own, with their number at the ends, such as
                             # {{ at = "{line_at}" }}, or, for part of the length,
                             # {{ at = "{part_at}", start = "{part_from}", end = "{part_to}" }};
                             # counted as hems are; name = "A" for a word, side = "far" from there

[hems]
from = "edge"                # where bands are counted from: the long edges, where cloth covers the
                             # numerals, or "line": the first long lines, the margins in view
depth = "{depth}"              # how far in from there the long lines go
folds = [{folds}]
cross_folds = false          # extra fold lines also as cross lines, for bottom and top hems
number_every = "auto"        # small numerals on every n-th line of the bands; 0 for none;
                             # "auto": 2 where they are counted from the line, 0 from the edge
number_apart = "{number_apart}"        # at both ends of these lines, and so far apart between
between = "auto"             # lines between those at the pitch, "solid" or "dashed"; "auto": dashed
                             # where they are counted from the line

[numerals]
sides = ["near", "far"]
height = "auto"              # the greatest that reads and lets a join pass, or a length
every = {every}                    # number every n-th cross line
per_line = {per_line}                 # what one pitch counts for
first = 0                    # the numeral on the zero line; above 0 for two tables end to end
second_zero = "none"         # "middle", or a length from the zero line: a second, smaller row in
                             # the margins that counts both ways from there
middle_every = 0             # numerals in the middle too, right of every n-th cross line
other_unit = "none"          # "near" or "far": that side counts centimetres where units are
                             # "in", inches where they are "mm", from the same zero
other_every = "auto"         # a numeral at every n-th tick of it; "auto": 5 or 10
clear = "{clear}"              # least gap between neighbours and to any line or edge
face = "simplex"             # or another Hershey face
view_from = "{view_from}"        # eye to numeral, for the legibility figure

[cloth]                      # for a cover marked before it is stretched on
stretch_length = "0 %"       # "canvasrule cover --run" writes it from a run that you measure
stretch_width = "0 %"

[cover]                      # what "canvasrule cover" reckons the cloth and the boards by
thickness = "{thickness}"       # of the top with underlay and pad: what the canvas goes down by
fastened = "underneath"      # or "side": where the staples go
wrap = "{wrap}"                # canvas beyond that, to pull by, to staple and to cut back
widths = [{widths}]
staple_spacing = "{staple_spacing}"
sheet = [{sheet}]    # length and width of the sheets for the underlay

[pens]                       # slot: the plotter's holder; width: its tip's line; passes of a
                             # line lie half a tip apart. What has one holder is inked by one
                             # marker: give it one width
lines = {{ slot = 1, width = "{tip}" }}
heavy = {{ slot = 1, width = "{tip}", passes = 2 }}
numerals = {{ slot = 1, width = "{tip}" }}
removable = {{ slot = {removable}, width = "0.5 mm" }}

[tape]                       # sets out the tape marks, and proves the cover
accuracy = "II"              # the class printed on the tape: "I", "II" or "III"
division = "{division}"         # how finely it is read
temperature_c = 20.0         # in the room; steel is true at 20
scale_error = "0 %"          # true over shown length, less 1, where it has been compared

# The machines that there are; take away the hashes of one that nobody named.
{plotter}

{projector}

[reach]                      # an arm's reach from a long edge
depth = "{reach_depth}"
span = "{reach_span}"

[inking]
# cross_lines = "ruled"      # by hand, between the ends that the device inks; a way says it too
drying = "2 min"             # how long ink is left alone before a foot stands on it
tried = "ask"                # whether you tried that ink stays ("canvasrule trial --ink"); or
                             #   "first": none is laid before that is kept; or "not asked"

[paper]
size = "{paper}"{paper_gap}         # of every sheet that is printed: "letter" or "a4"

# What a finished cover may show, where it is not what tolerance gives: take away the hashes.
# [allowed]
# total = "{allowed_total}"         # any line from where it counts to, from zero
# square = "{tolerance}"       # a cross line's lean, over {line_at} of it
# neighbours = "{division}"   # the gap between two lines beside each other
# step = "1 mm"              # a line where two sections meet

# A straight rail clamped along a row of sections, which the device is pushed against.
# [fence]
# length = "{fence_length}"
# straight = "0.3 mm"        # how far from straight it may be
# contact = "0.07 mm"        # how exactly the device comes to lie against it
# stops = "0.1 mm"           # or "none": its place along the rail is then read from a mark

# [ways]                     # what there is to mark with, where the tables above do not say it
# have = ["plotter", "projector"]
# way = ""                   # an id that "canvasrule ways" lists: every verb then goes by it

# [pace]                     # your own times, act by act; left out, what the record has timed,
#                            # else our assumptions: "canvasrule ways" says which
# reading = "30 s"
# set_down = "4.5 min"
"""
