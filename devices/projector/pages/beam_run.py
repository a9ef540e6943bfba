"""One run of the pages: the desk, who is connected, and what each is told.

It knows the desk and to whom it is shown; what a command does is `devices.projector.desk.desk`'s,
what is said over one connection `devices.serving.line`'s, who may come in
`devices.projector.pages.server`'s.
"""

from __future__ import annotations

import asyncio
import contextlib
import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from devices.projector.desk.desk import acted
from devices.projector.desk.memory import keep_tap, remembered, remembered_taps
from devices.projector.desk.what_pages_show import geometry, look, remote
from devices.serving.held import held
from devices.serving.line import Newest, PageLine
from devices.serving.taps import Answer, Taps, tap_number
from marking.errors import CanvasruleError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.websockets import WebSocket

    from devices.projector.desk.beam_work import BeamWork
    from devices.projector.desk.desk import Desk
    from devices.serving.pairing import Pairing
    from marking.record.record import Record

NO_STAGE = "The stage page is not open. Open it on the projector's screen."
QUIET_STAGE = (
    "The stage page does not answer, so what is lit may be old. Look whether its window is open "
    "on the projector's screen and in front."
)
SECOND = 4409
"""Closes a stage whose place another has taken."""


@dataclass
class BeamRun:
    """One run: the desk, who is connected, and where it is all kept."""

    work: BeamWork
    record: Record
    pairing: Pairing
    remote_url: str
    """Where a phone or tablet opens the remote, or a second window of this computer."""
    lan: bool = True
    """Whether other devices are answered."""
    desk: Desk = field(init=False)
    taps: Taps = field(init=False)
    stage: PageLine | None = None
    stage_says: str = NO_STAGE
    stage_is_right: bool = False
    unlit: float = 0.0
    """Millimetres of the section's ink that fall outside the picture."""
    remotes: set[PageLine] = field(default_factory=set)
    lines: Newest = field(default_factory=Newest)
    turn: asyncio.Lock = field(default_factory=asyncio.Lock)

    def __post_init__(self) -> None:
        self.desk = remembered(self.record, self.work)
        self.taps = remembered_taps(self.record, self.work)

    async def greet(self, line: PageLine, name: object) -> None:
        """Takes a page's name, and says which of its taps was answered last."""
        await self.lines.greet(line, name, self.turn, lambda page: self.taps.to(page))

    async def act(self, command: Mapping[str, Any], tap: int, line: PageLine) -> None:
        """Does one tap of a page, once however often it is sent, and shows what came of it."""
        page, before = line.page, self.desk
        async with self.turn:
            if page is None or not self.lines.has(line):
                return  # the page asks over its newer connection what was done
            last = self.taps.to(page)
            if tap > last.number:
                before = self.desk
                last = await self._answer(command, tap, page)
            await line.answer(last)
            if self.desk is not before:
                await self.show_stage(before)
            await self.show_remotes()

    async def _answer(self, command: Mapping[str, Any], tap: int, page: str) -> Answer:
        """Does a tap and keeps it together with its number. A refused one has its number kept."""
        before = self.desk
        try:
            # In a thread, so that the pages are answered while a true-up is worked out.
            after = await asyncio.to_thread(acted, before, self.work, command)
            answer = Answer(tap)
            taps = self.taps.with_answer(page, answer)
            keep_tap(self.record, self.work, before, after, taps)
        except CanvasruleError as fault:
            answer = Answer(tap, " ".join(fault.messages))
            self.taps = self.taps.with_answer(page, answer)
            with contextlib.suppress(CanvasruleError):
                keep_tap(self.record, self.work, before, before, self.taps)
            return answer
        self.desk, self.taps = after, taps
        return answer

    async def show_stage(self, before: Desk | None = None) -> None:
        """Sends the stage its look, and its geometry when that is no longer `before`'s."""
        if self.stage is None:
            return
        changed = before is None or (
            before.section != self.desk.section
            or before.trued.get(before.section) is not self.desk.trued.get(self.desk.section)
        )
        if before is not None:
            await self.stage.tell(look(self.desk, self.work))
        if changed and self.stage is not None:
            drawn = geometry(self.desk, self.work)
            self.unlit = drawn["unlit"]
            await self.stage.tell(drawn)
        if before is None and self.stage is not None:
            await self.stage.tell(look(self.desk, self.work))

    async def show_remotes(self) -> None:
        """Sends every remote the whole desk."""
        told = remote(self.desk, self.work, self._stage_said())
        told["pairing"] = {"address": self.remote_url, "code": self.pairing.code}
        for line in tuple(self.remotes):
            await line.tell(told)

    def _stage_said(self) -> str:
        if self.stage is not None and self.stage.quiet:
            return QUIET_STAGE
        if not self.stage_is_right:
            return self.stage_says
        if self.unlit > 1:
            return (
                f"{self.unlit / 1000:.2f} m of this section's lines fall outside the picture and "
                "are not lit. Move the projector and true up again."
            )
        return ""

    def judge_display(self, said: Mapping[str, Any]) -> None:
        """Whether the stage's own report allows a line to be trusted; sets what to say."""
        wanted = list(self.work.job.projector.pixels)
        size, ratio, scale = said.get("size"), said.get("ratio"), said.get("scale")
        self.stage_is_right = size == wanted and ratio == 1 and scale == 1
        if self.stage_is_right:
            self.stage_says = ""
        elif ratio != 1 or scale != 1:
            self.stage_says = (
                f"The stage is shown at {ratio:.0%} zoom or display scaling, so its lines would "
                "be blurred and misplaced. Press Ctrl 0 in that window, and set the display's "
                "scale to 100 % in the system's settings."
                if _sensible(ratio)
                else "The stage does not tell its scale. Open it in another browser."
            )
        else:
            told = isinstance(size, list) and len(size) == 2 and all(map(_sensible, size))
            shown = f"{size[0]} x {size[1]}" if told and isinstance(size, list) else "?"
            self.stage_says = (
                f"The stage is {shown} pixels and the projector has {wanted[0]} x {wanted[1]}. "
                "Press F or F11 for full screen; if it stays so, set the display to the "
                "projector's native resolution, or correct pixels under [projector] in job.toml."
            )


def _sensible(value: object) -> bool:
    """Whether a number could be a display's size or scale."""
    return isinstance(value, int | float) and math.isfinite(value) and 0 < value < 100_000


def pairing_shown(this_run: BeamRun) -> dict[str, Any]:
    """What the stage shows for a remote to be paired by; no square where no phone can come in."""
    import segno

    address = f"{this_run.remote_url}?code={this_run.pairing.code}"
    picture = segno.make(address, error="m").svg_data_uri(
        scale=6, dark="#000000", light="#ffffff", border=3
    )
    return {
        "type": "pairing",
        "open": not this_run.pairing.paired,
        "lan": this_run.lan,
        "code": this_run.pairing.code,
        "address": this_run.remote_url,
        "picture": picture if this_run.lan else None,
    }


async def hold_stage(this_run: BeamRun, socket: WebSocket) -> None:
    """Keeps one stage shown until it goes, or another takes its place."""
    line = PageLine(socket)
    older, this_run.stage = this_run.stage, line
    this_run.stage_is_right, this_run.stage_says = False, NO_STAGE
    if older is not None:
        await older.end(SECOND)
    try:
        await line.tell(pairing_shown(this_run))
        await this_run.show_stage()
        await _held(this_run, line)
    finally:
        this_run.lines.drop(line)
        if this_run.stage is line:
            this_run.stage, this_run.stage_is_right, this_run.stage_says = None, False, NO_STAGE
            await this_run.show_remotes()


async def hold_remote(this_run: BeamRun, socket: WebSocket) -> None:
    """Keeps one of the remotes shown until it goes."""
    line = PageLine(socket)
    this_run.remotes.add(line)
    try:
        await this_run.show_remotes()
        await _held(this_run, line)
    finally:
        this_run.remotes.discard(line)
        this_run.lines.drop(line)


async def _held(this_run: BeamRun, line: PageLine) -> None:
    """Hears a page and does what it asks until it goes."""

    async def heard(message: dict[str, Any] | None) -> tuple[int, Mapping[str, Any]] | None:
        if message is None:
            if line is this_run.stage:
                await this_run.show_remotes()
        elif "hello" in message:
            await this_run.greet(line, message["hello"])
        elif "size" in message and line is this_run.stage:
            this_run.judge_display(message)
            await line.tell(
                {"type": "display", "ok": this_run.stage_is_right, "say": this_run.stage_says}
            )
            await this_run.show_remotes()
        elif (tap := tap_number(message.get("tap"))) is not None and line.page is not None:
            return tap, message
        else:
            await line.tell(
                {"type": "refused", "say": "That is nothing this page says; reload it."}
            )
        return None

    async def act(tap: int, command: Mapping[str, Any]) -> None:
        await this_run.act(command, tap, line)

    await held(line, heard, act)
