"""The local server: who may open the stage and the remote, and what files they are.

It knows requests and secrets; what is said over the sockets is `devices.beam.house`'s.
"""

from __future__ import annotations

import contextlib
from importlib import resources
from typing import TYPE_CHECKING
from urllib.parse import parse_qs

from starlette.applications import Starlette
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route, WebSocketRoute

from devices.beam.guard import Guard
from devices.beam.house import hold_remote, hold_stage, pairing_shown, tell

if TYPE_CHECKING:
    from collections.abc import Collection

    from starlette.requests import HTTPConnection, Request
    from starlette.types import ASGIApp
    from starlette.websockets import WebSocket

    from devices.beam.house import House

PAGES = {
    "stage.css": "text/css",
    "stage.js": "text/javascript",
    "remote.css": "text/css",
    "remote.js": "text/javascript",
}
"""Every file that is served, by name: there is no folder to look into."""
_STAGE, _REMOTE = "canvasrule-stage", "canvasrule-remote"
_STALE, _SECOND = 4401, 4409
_STALE_SAID = (
    "This device was paired in an earlier run. Nothing is lost: enter the code shown on the "
    "table now."
)


def page(name: str) -> str:
    """The text of one shipped page file."""
    return resources.files("devices.beam").joinpath("pages", name).read_text("utf-8")


def application(house: House, hosts: Collection[str]) -> ASGIApp:
    """The pages of one run, answering only at `hosts`."""
    routes = [
        Route("/", _home),
        Route("/stage", _stage_page),
        Route("/remote", _remote_page),
        Route("/pair", _pair, methods=["POST"]),
        Route("/pages/{name}", _asset),
        WebSocketRoute("/light", _light),
        WebSocketRoute("/desk", _desk),
    ]
    app = Starlette(routes=routes)
    app.state.house = house
    return Guard(app, hosts)


def _house(here: HTTPConnection) -> House:
    house: House = here.app.state.house
    return house


async def _home(request: Request) -> Response:
    del request
    return RedirectResponse("/remote", 303)


async def _stage_page(request: Request) -> Response:
    pairing, key = _house(request).pairing, request.query_params.get("key")
    if pairing.is_stage(key):
        return _with_cookie(RedirectResponse("/stage", 303), _STAGE, key or "")
    if not pairing.is_stage(request.cookies.get(_STAGE)):
        return _plain_page(
            "Not this run's stage",
            'Open the stage by the address that "canvasrule beam" printed; it is new each run.',
            403,
        )
    return HTMLResponse(page("stage.html"))


async def _remote_page(request: Request) -> Response:
    house, code = _house(request), request.query_params.get("code")
    if house.pairing.is_remote(request.cookies.get(_REMOTE)):
        return HTMLResponse(page("remote.html"))
    if code is not None:
        return await _paired(house, code)
    return _pair_page("" if _REMOTE not in request.cookies else _STALE_SAID)


async def _pair(request: Request) -> Response:
    form = parse_qs((await request.body())[:1000].decode("utf-8", "replace"))
    return await _paired(_house(request), form.get("code", [""])[0])


async def _paired(house: House, code: str) -> Response:
    token = house.pairing.pair(code)
    # The code may have been replaced, or is no longer needed, on the stage.
    if house.stage is not None:
        await tell(house.stage, pairing_shown(house))
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


async def _asset(request: Request) -> Response:
    name = request.path_params["name"]
    if name not in PAGES:
        return Response("There is no such file.", 404, media_type="text/plain")
    return Response(page(name), media_type=PAGES[name])


async def _light(socket: WebSocket) -> None:
    house = _house(socket)
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
    await hold_stage(house, socket)


async def _desk(socket: WebSocket) -> None:
    house = _house(socket)
    await socket.accept()
    if not house.pairing.is_remote(socket.cookies.get(_REMOTE)):
        await socket.close(_STALE)
        return
    await hold_remote(house, socket)


def _with_cookie(response: Response, name: str, value: str) -> Response:
    response.set_cookie(name, value, httponly=True, samesite="lax", path="/")
    return response


def _pair_page(say: str, status: int = 200) -> Response:
    return HTMLResponse(page("pair.html").replace("{{say}}", say), status)


def _plain_page(title: str, text: str, status: int) -> Response:
    return HTMLResponse(
        page("plain.html").replace("{{title}}", title).replace("{{text}}", text), status
    )
