"""The local server: stage and remote pages, and the two sockets that keep them in step.

It knows browsers and sockets; what a command does is `devices.beam.desk`'s.
"""

from __future__ import annotations

import contextlib
import json
from dataclasses import dataclass, field
from importlib import resources
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qs

from starlette.applications import Starlette
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from devices.beam.desk import acted
from devices.beam.guard import Guard
from devices.beam.memory import keep, remembered
from devices.beam.scene import geometry, look, remote
from marking.errors import CanvasruleError

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from starlette.requests import Request
    from starlette.types import ASGIApp

    from devices.beam.desk import Desk
    from devices.beam.pairing import Pairing
    from devices.beam.work import Work
    from marking.record import Record

PAGES = {
    "stage.css": "text/css",
    "stage.js": "text/javascript",
    "remote.css": "text/css",
    "remote.js": "text/javascript",
}
"""Every file that is served, by name: there is no folder to look into."""
_STAGE, _REMOTE = "canvasrule-stage", "canvasrule-remote"
_STALE, _SECOND = 4401, 4409
_NO_STAGE = "The stage page is not open. Open it on the projector's screen."


def page(name: str) -> str:
    """The text of one shipped page file."""
    return resources.files("devices.beam").joinpath("pages", name).read_text("utf-8")


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
    stage_says: str = _NO_STAGE
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
            await _tell(sender, {"type": "refused", "say": " ".join(fault.messages)})
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
            await _tell(self.stage, look(self.desk, self.work))
        if changed:
            drawn = geometry(self.desk, self.work)
            self.unlit = drawn["unlit"]
            await _tell(self.stage, drawn)
        if before is None:
            await _tell(self.stage, look(self.desk, self.work))

    async def show_remotes(self) -> None:
        """Sends every remote the whole desk."""
        told = remote(self.desk, self.work, self._stage_said())
        told["pairing"] = {"address": self.remote_url, "code": self.pairing.code}
        for socket in tuple(self.remotes):
            await _tell(socket, told)

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


async def _tell(socket: WebSocket, message: Mapping[str, Any]) -> None:
    # A page that has just gone will ask anew when it comes back.
    with contextlib.suppress(RuntimeError, WebSocketDisconnect):
        await socket.send_text(json.dumps(message, allow_nan=False))


async def _said(socket: WebSocket) -> dict[str, Any]:
    """The next message; one that is not an object of JSON is an empty one."""
    text = await socket.receive_text()
    try:
        message = json.loads(text)
    except ValueError:
        return {}
    return message if isinstance(message, dict) else {}


def application(house: House, hosts: Collection[str]) -> ASGIApp:
    """The pages of one run, answering only at `hosts`."""

    async def stage(request: Request) -> Response:
        key = request.query_params.get("key")
        if house.pairing.is_stage(key):
            return _with_cookie(RedirectResponse("/stage", 303), _STAGE, key or "")
        if not house.pairing.is_stage(request.cookies.get(_STAGE)):
            return _plain_page(
                "Not this run's stage",
                'Open the stage by the address that "canvasrule beam" printed; it is new each run.',
                403,
            )
        return HTMLResponse(page("stage.html"))

    async def remote_page(request: Request) -> Response:
        if house.pairing.is_remote(request.cookies.get(_REMOTE)):
            return HTMLResponse(page("remote.html"))
        code = request.query_params.get("code")
        if code is not None:
            return await paired(code)
        return _pair_page("" if _REMOTE not in request.cookies else _STALE_SAID)

    async def pair(request: Request) -> Response:
        form = parse_qs((await request.body())[:1000].decode("utf-8", "replace"))
        return await paired(form.get("code", [""])[0])

    async def paired(code: str) -> Response:
        token = house.pairing.pair(code)
        # The code may have been replaced, or is no longer needed, on the stage.
        if house.stage is not None:
            await _tell(house.stage, _pairing_shown(house))
        if token is not None:
            return _with_cookie(RedirectResponse("/remote", 303), _REMOTE, token)
        if house.pairing.closed:
            return _plain_page(
                "No more codes are taken",
                "Too many wrong codes were tried, so this run pairs no more devices. Nothing is "
                'lost: stop "canvasrule beam" and start it again for a new code.',
                429,
            )
        return _pair_page("That is not the code on the table now. Look again; it may be new.", 403)

    async def asset(request: Request) -> Response:
        name = request.path_params["name"]
        if name not in PAGES:
            return Response("There is no such file.", 404, media_type="text/plain")
        return Response(page(name), media_type=PAGES[name])

    async def home(request: Request) -> Response:
        del request
        return RedirectResponse("/remote", 303)

    async def light(socket: WebSocket) -> None:
        await socket.accept()
        if not house.pairing.is_stage(socket.cookies.get(_STAGE)):
            await socket.close(_STALE)
            return
        if house.stage is not None:
            if socket.query_params.get("take") != "1":
                await socket.close(_SECOND)
                return
            with contextlib.suppress(RuntimeError):
                await house.stage.close(_SECOND)
        house.stage = socket
        await _hold_stage(house, socket)

    async def desk(socket: WebSocket) -> None:
        await socket.accept()
        if not house.pairing.is_remote(socket.cookies.get(_REMOTE)):
            await socket.close(_STALE)
            return
        house.remotes.add(socket)
        try:
            await house.show_remotes()
            while True:
                await house.act(await _said(socket), socket)
        except WebSocketDisconnect:
            pass
        finally:
            house.remotes.discard(socket)

    routes = [
        Route("/", home),
        Route("/stage", stage),
        Route("/remote", remote_page),
        Route("/pair", pair, methods=["POST"]),
        Route("/pages/{name}", asset),
        WebSocketRoute("/light", light),
        WebSocketRoute("/desk", desk),
    ]
    return Guard(Starlette(routes=routes), hosts)


async def _hold_stage(house: House, socket: WebSocket) -> None:
    """Keeps one stage shown until it goes, or another takes its place."""
    try:
        await _tell(socket, _pairing_shown(house))
        await house.show_stage()
        while True:
            said = await _said(socket)
            if "size" in said:
                house.judge_display(said)
                await _tell(
                    socket, {"type": "display", "ok": house.stage_is_right, "say": house.stage_says}
                )
                await house.show_remotes()
            else:
                await house.act(said, socket)
    except WebSocketDisconnect:
        pass
    finally:
        if house.stage is socket:
            house.stage, house.stage_is_right, house.stage_says = None, False, _NO_STAGE
            await house.show_remotes()


def _pairing_shown(house: House) -> dict[str, Any]:
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


_STALE_SAID = (
    "This device was paired in an earlier run. Nothing is lost: enter the code shown on the "
    "table now."
)


def _with_cookie(response: Response, name: str, value: str) -> Response:
    response.set_cookie(name, value, httponly=True, samesite="lax", path="/")
    return response


def _pair_page(say: str, status: int = 200) -> Response:
    return HTMLResponse(page("pair.html").replace("{{say}}", say), status)


def _plain_page(title: str, text: str, status: int) -> Response:
    return HTMLResponse(
        page("plain.html").replace("{{title}}", title).replace("{{text}}", text), status
    )
