"""What a conversation needs to know of a dialect: how to ask, and what an answer means.

A `Dialect` holds words and their meaning, no clock, and no state but
what the machine has said of its own coordinates.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, Protocol

from msgspec import Struct

if TYPE_CHECKING:
    from devices.plotter.bed import UnitPoint

XON, XOFF = 17, 19
"""DC1 and DC3 of ASCII (ANSI X3.4, from memory): send on, and wait."""
AnswerKind = Literal[
    "place",
    "number",
    "window",
    "accepted",
    "refused",
    "alarm",
    "setting",
    "banner",
    "note",
    "noise",
]


class Reply(Struct, frozen=True):
    """One line from the machine, read."""

    kind: AnswerKind
    text: str = ""
    """A place or a window as the machine reports it, or a refusal in words."""
    number: int = 0
    sound: bool = True
    """False when the machine says that something is wrong with it."""
    settled: bool = True
    """Whether it stands still there, everything before done."""
    state: str = ""
    """What a machine that does not draw says of itself."""
    still: bool = False
    """Whether it stands still, for whatever reason."""
    locked: bool = False
    """Whether it does nothing before it is unlocked."""
    lost: bool = False
    """Whether it says thereby that it may have lost its place."""
    zero: str = ""
    """Where it says that the program's zero lies for it."""
    newborn: bool = False
    """Whether it is where a machine that was just switched on takes itself to be."""


class Question(Struct, frozen=True):
    """Something asked before the program, with the kind of reply that answers it."""

    data: bytes
    answer: AnswerKind
    meaning: Literal[
        "room",
        "io error",
        "error",
        "status",
        "ready",
        "since",
        "started",
        "window",
        "holds",
        "rest",
        "reset",
        "stands",
        "settings",
        "home",
        "unlock",
    ]
    seconds: float = 2.0
    """After how long without an answer it is asked again."""
    most: int = 999_999
    """The greatest number that answers it; a greater one answers something asked earlier."""
    least: int = 0
    """The least number that answers it."""
    lasts: float = 14.0
    """After how long without an answer the machine counts as silent."""
    ping: bytes = b""
    """What is asked again in its place: answered at once, it shows a machine that is busy."""
    busy: float = 0.0
    """How long a machine that answers `ping` may take."""
    spared: bool = False
    """Whether the next question is asked, and the machine driven, when it does not answer it."""


class Dialect(Protocol):
    """One dialect's words."""

    @property
    def greeting(self) -> tuple[Question, ...]:
        """Asked in this order; they also clear away what an earlier conversation left."""
        ...

    @property
    def checkpoint(self) -> bytes:
        """Asks, in turn with the program, where the pen stands. Safe to send again."""
        ...

    @property
    def whereabouts(self) -> bytes:
        """The same for a place that confirms no stroke, in as few bytes as will do."""
        ...

    @property
    def poll(self) -> bytes:
        """Asks the same at once, out of turn; empty where the answer comes by itself."""
        ...

    @property
    def room(self) -> bytes:
        """Asks at once for free buffer space; empty where there is no such question."""
        ...

    @property
    def halt(self) -> bytes:
        """Throws away what is buffered."""
        ...

    @property
    def hold(self) -> bytes:
        """Brakes without losing the place; empty where `halt` does not lose it."""
        ...

    @property
    def unlock(self) -> bytes:
        """Lets a machine that has locked itself take orders again."""
        ...

    @property
    def raise_pen(self) -> bytes:
        """Raises the pen; right after `halt`."""
        ...

    @property
    def raise_pen_blind(self) -> bytes:
        """Raises the pen of a machine that no longer knows how high it is."""
        ...

    def raised(self, place: str) -> bool:
        """Whether a place reported is one with the pen up."""
        ...

    @property
    def diagnosis(self) -> tuple[Question, ...]:
        """Asked when the machine says that something is wrong."""
        ...

    @property
    def last_questions(self) -> tuple[Question, ...]:
        """Asked when it no longer says where its pen stands; empty where nothing would tell."""
        ...

    def holds(self, size: int) -> tuple[Question, ...]:
        """Tries whether the buffer holds `size` bytes, pen up; empty where that cannot be tried."""
        ...

    def shown(self, size: int) -> int:
        """Bytes that such a trial shows when nothing of it was lost."""
        ...

    @property
    def ends(self) -> bytes:
        """The bytes that end a reply."""
        ...

    @property
    def status_follows(self) -> bool:
        """Whether a place is confirmed by a status number right after it."""
        ...

    @property
    def acknowledges(self) -> bool:
        """Whether every line is answered when it leaves the input buffer."""
        ...

    def heard(self, line: bytes) -> Reply:
        """What a line says."""
        ...

    def place(self, point: UnitPoint, down: bool) -> str:
        """How the machine will report the pen at `point`, in units."""
        ...

    def same_place(self, expected: str, reported: str) -> bool:
        """Whether a report is the one expected."""
        ...

    def healthy(self, status: int) -> bool:
        """Whether a status number says that nothing is wrong."""
        ...

    def faulty(self, status: int) -> bool:
        """Whether a status number says that something is wrong, and is no other number."""
        ...

    def began_anew(self, status: int) -> bool:
        """Whether a status number says that the machine began anew since it was last asked."""
        ...

    @property
    def window(self) -> bytes:
        """Asks, in turn with the program, for what only a restart undoes; empty if nothing is."""
        ...

    @property
    def own_window(self) -> str:
        """What it answers to `window` after the opening and before any restart."""
        ...

    def in_words(self, meaning: str, number: int) -> str | None:
        """An error number explained; None when it means no error."""
        ...
