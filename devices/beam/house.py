"""One run of the pages: the desk, who is connected, and what each is told.

It knows sockets and the desk; what a command does is `devices.beam.desk`'s, who may come in
`devices.beam.server`'s.
"""

from __future__ import annotations

import contextlib
import json
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from starlette.websockets import WebSocketDisconnect

from devices.beam.desk import acted
from devices.beam.memory import keep, remembered
from devices.beam.scene import geometry, look, remote
from marking.errors import CanvasruleError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.websockets import WebSocket

    from devices.beam.desk import Desk
    from devices.beam.pairing import Pairing
    from devices.beam.work import Work
    from marking.record import Record

NO_STAGE = "The stage page is not open. Open it on the projector's screen."


@dataclass
class House:
    """One run: the desk, who is connected, and where it is all kept."""

    work: Work
    record: Record
    pairing: Pairing
    remote_url: str
    """Where a phone or tablet opens the remote."""
    desk: Desk = field(init=False)
    stage: WebSocket | None = None
    stage_says: str = NO_STAGE
    stage_is_right: bool = False
    unlit: float = 0.0
    """Millimetres of the section's ink that fall outside the picture."""
    remotes: set[WebSocket] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.desk = remembered(self.record, self.work)

    async def act(self, command: Mapping[str, Any], sender: WebSocket) -> None:
        """Does a command, keeps it, and shows it everywhere; a refusal goes to the sender."""
        before = self.desk
        try:
            after = acted(before, self.work, command)
            keep(self.record, self.work, before, after)
        except CanvasruleError as fault:
            await tell(sender, {"type": "refused", "say": " ".join(fault.messages)})
            await self.show_remotes()
            return
        self.desk = after
        await self.show_stage(before)
        await self.show_remotes()

    async def show_stage(self, before: Desk | None = None) -> None:
        """Sends the stage its look, and its geometry when that is no longer `before`'s."""
        if self.stage is None:
            return
        changed = before is None or (
            before.section != self.desk.section
            or before.trued.get(before.section) is not self.desk.trued.get(self.desk.section)
        )
        if before is not None:
            await tell(self.stage, look(self.desk, self.work))
        if changed:
            drawn = geometry(self.desk, self.work)
            self.unlit = drawn["unlit"]
            await tell(self.stage, drawn)
        if before is None:
            await tell(self.stage, look(self.desk, self.work))

    async def show_remotes(self) -> None:
        """Sends every remote the whole desk."""
        told = remote(self.desk, self.work, self._stage_said())
        told["pairing"] = {"address": self.remote_url, "code": self.pairing.code}
        for socket in tuple(self.remotes):
            await tell(socket, told)

    def _stage_said(self) -> str:
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
                if isinstance(ratio, int | float)
                else "The stage does not tell its scale. Open it in another browser."
            )
        else:
            shown = f"{size[0]} x {size[1]}" if isinstance(size, list) and len(size) == 2 else "?"
            self.stage_says = (
                f"The stage is {shown} pixels and the projector has {wanted[0]} x {wanted[1]}. "
                "Press F or F11 for full screen; if it stays so, set the display to the "
                "projector's native resolution, or correct pixels under [projector] in job.toml."
            )


async def tell(socket: WebSocket, message: Mapping[str, Any]) -> None:
    """Sends a page a message; one that has just gone will ask anew when it comes back."""
    with contextlib.suppress(RuntimeError, WebSocketDisconnect):
        await socket.send_text(json.dumps(message, allow_nan=False))


async def said(socket: WebSocket) -> dict[str, Any]:
    """The next message; one that is not an object of JSON is an empty one."""
    text = await socket.receive_text()
    try:
        message = json.loads(text)
    except ValueError:
        return {}
    return message if isinstance(message, dict) else {}


def pairing_shown(house: House) -> dict[str, Any]:
    """What the stage shows for a remote to be paired by."""
    import segno

    address = f"{house.remote_url}?code={house.pairing.code}"
    picture = segno.make(address, error="m").svg_data_uri(
        scale=6, dark="#000000", light="#ffffff", border=3
    )
    return {
        "type": "pairing",
        "open": not house.pairing.paired and not house.pairing.closed,
        "code": house.pairing.code,
        "address": house.remote_url,
        "picture": picture,
    }


async def hold_stage(house: House, socket: WebSocket) -> None:
    """Keeps one stage shown until it goes, or another takes its place."""
    try:
        await tell(socket, pairing_shown(house))
        await house.show_stage()
        while True:
            message = await said(socket)
            if "size" in message:
                house.judge_display(message)
                await tell(
                    socket, {"type": "display", "ok": house.stage_is_right, "say": house.stage_says}
                )
                await house.show_remotes()
            else:
                await house.act(message, socket)
    except WebSocketDisconnect:
        pass
    finally:
        if house.stage is socket:
            house.stage, house.stage_is_right, house.stage_says = None, False, NO_STAGE
            await house.show_remotes()


async def hold_remote(house: House, socket: WebSocket) -> None:
    """Keeps one of the remotes shown until it goes."""
    house.remotes.add(socket)
    try:
        await house.show_remotes()
        while True:
            await house.act(await said(socket), socket)
    except WebSocketDisconnect:
        pass
    finally:
        house.remotes.discard(socket)
