"""What the verbs and the machine say of a terminal, in the words of the page that runs them.

It knows texts, and which button or field stands for an option; no verb, and no result.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

_MOVED = "“The plotter was moved since this section was begun”"
_ANYWAY = "“Ink although the verdict is against it, because”"
_UNTRIED = "“Ink although it was not tried that the ink stays, because”"
_STANDS = "“Measured again, and it stands”"
_AGAIN = "“See that the correction helps”"
_LOOKED = "“Keep more than 1 %: unit, sheet and tape were looked at again”"
_REPLACE = "“The square was drawn without correction: these lengths replace those kept”"
_DESPITE = "“Keep a new correction although sections are inked”"
_CONTROL = "“Set these out, and write their sheet”"
TALK: Mapping[str, str] = {
    'give --ink-untried REASON, or set inking.tried = "not asked" in job.toml': (
        f"give a reason at {_UNTRIED}"
    ),
    "give --ink-anyway with your reason": f"give your reason at {_ANYWAY}",
    "give --ink-anyway REASON": f"give a reason at {_ANYWAY}",
    ", and give them by --readings FILE, or leave --unattended out and read them under the pen": (
        " under the pen"
    ),
    "Give --readings FILE, or leave --unattended out and read them under the pen": (
        "Read them under the pen"
    ),
    "run drive without --moved": f"ink again without {_MOVED}",
    "run drive again with --moved": f"tick {_MOVED} and ink again",
    "say so with --moved when you drive it": f"tick {_MOVED} when you ink it",
    "run drive again": "ink again",
    "drive --pointer": "“Find anew how far what reads stands from the pen”",
    "take the tick back with --undo": "take the tick back by “They are not”",
    "[pace] in job.toml takes yours": "“Your own times, act by act” takes yours",
    "By the reckoning of canvasrule ways": "As “Reckon the ways” reckons",
    "canvasrule ways --all tries": "“With every stock machine too” tries",
    "run canvasrule drive to ink it": "“Ink the next section” inks it",
    "canvasrule drive inks": "“Ink the next section” inks",
    "canvasrule place --inked": "“This section is inked”",
    "canvasrule rule --done": "“These are ruled”",
    "run canvasrule control": f"press {_CONTROL}",
    "by canvasrule control": f"by {_CONTROL}",
    "--confirmed keeps it all the same": f"tick {_LOOKED} to keep it all the same",
    "--corrected only shows how it draws now; --despite-ink keeps it all the same": (
        f"{_AGAIN} only shows how it draws now; tick {_DESPITE} to keep it all the same"
    ),
    "--corrected if it is out/trial-corrected, drawn with that correction (nothing is kept); "
    "--replace if it is out/trial, drawn without: then these figures take": (
        f"type its lengths at {_AGAIN} if it was drawn with that correction (nothing is kept); "
        f"tick {_REPLACE} if it was drawn without: then these figures take"
    ),
    "See that it was out/trial-corrected.hpgl that was plotted and measured; else plot "
    "out/trial.hpgl anew, measure it, and keep its figures with --replace": (
        "See that it was the square drawn with it that was measured; else draw the square anew "
        f"as it is, measure it, tick {_REPLACE} and take its lengths"
    ),
    "Draw the sheet again with --corrected to see that it helps": (
        f"{_AGAIN} draws the square again with it"
    ),
    "section, write, control, place and drive now use it": (
        "all that is divided, written, set out, placed and inked from now on uses it"
    ),
    "measure out/trial.hpgl without --corrected": (
        "draw the square as it is, and take its lengths, first"
    ),
    "Check `unit` under [plotter]": "Check “Plotter unit”",
    "and keep it: --morning BASE UP DOWN, as the tape shows them. drive waits for it.": (
        "and type them at “The morning's check”, as the tape shows them: ink waits for it."
    ),
    "by --section and tape marks of their own": (
        "asked for by name in a terminal, and with tape marks of their own"
    ),
    "What stands, confirm with --confirmed: then": f"What stands, tick {_STANDS} there: then",
    "canvasrule prove tells how many": "“What to measure” tells how many",
    "(canvasrule prove)": "(“Judge the cover”)",
    "(canvasrule paper hand)": "(“Sheets to mark by hand”)",
    "(canvasrule beam)": "(“Open the projector's stage”)",
}
"""Phrases of a terminal and the page's for each; one that holds another stands before it. A text
with one has a twin in the catalogue."""
_TYPED = r'(?:"[^"\n]*"|\S+)'
_LINES: tuple[tuple[re.Pattern[str], str], ...] = (
    # What is typed into a file there is typed into fields here.
    (re.compile(r"^\[measured\]\n(?:\w+ = .*\n)+\n?", re.MULTILINE), ""),
    (
        re.compile(rf"^Then: canvasrule trial --job {_TYPED} --measured FILE$", re.MULTILINE),
        "Then type each length at its side of the square below, and press the button under it",
    ),
    (
        re.compile(r"^Write those that were read beside the runs, counting up .*$", re.MULTILINE),
        "Those that were read are typed under the square, counting up towards the +, as 0.25 mm",
    ),
    (
        re.compile(r"^Write what you saw into a file, and keep it by .*(?:\n .*)*", re.MULTILINE),
        "Keep what you saw with the job's papers: before the first ink it is asked whether it was "
        "tried, and whether it stayed",
    ),
    (re.compile(rf"canvasrule trial --job {_TYPED} --ink\b(?!-)"), "“How to try it”"),
    (
        re.compile(rf"run canvasrule write --job {_TYPED} again"),
        "“Write the files for this job” writes it anew",
    ),
    (re.compile(rf"canvasrule days --job {_TYPED}"), "“The morning's check”"),
    (re.compile(r"--confirmed \S+ says so"), f"tick {_STANDS}"),
    # What goes on is a button.
    (re.compile(r"(?:(?<=\.) |^)To (?:begin it again|go on): canvasrule drive .*$"), ""),
)
OF_THE_PAGE = tuple(words for _, words in _LINES if words.partition("“")[0])
"""What stands in the place of whole lines."""


def said_here(words: str) -> str:
    """The same for whoever works on the page; empty where it says nothing there."""
    for talk, here in TALK.items():
        words = words.replace(talk, here)
    for line, here in _LINES:
        words = line.sub(here, words)
    return words
