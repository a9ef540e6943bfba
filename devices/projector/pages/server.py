"""The local server: who may open the stage and the remote, and what files they are.

It knows requests and secrets; what is said over the sockets is
`devices.projector.pages.beam_run`'s.
"""

from __future__ import annotations

import math
from importlib import resources
from typing import TYPE_CHECKING
from urllib.parse import parse_qs

from starlette.applications import Starlette
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route, WebSocketRoute

from devices.projector.pages.beam_run import SECOND, hold_remote, hold_stage, pairing_shown
from devices.serving.body import short_body
from devices.serving.guard import Guard, too_long
from devices.serving.pairing import is_code

if TYPE_CHECKING:
    from collections.abc import Collection

    from starlette.requests import HTTPConnection, Request
    from starlette.types import ASGIApp
    from starlette.websockets import WebSocket

    from devices.projector.pages.beam_run import BeamRun

PAGES = {
    "stage.css": "text/css",
    "link.js": "text/javascript",
    "stage.js": "text/javascript",
    "remote.css": "text/css",
    "remote.js": "text/javascript",
}
"""Every file that is served, by name: there is no folder to look into."""
SHARED = ("link.js",)
"""Those that other pages use too."""
_STAGE, _REMOTE = "canvasrule-stage", "canvasrule-remote"
_STALE = 4401
_NOT_THE_CODE = "That is not the code on the table now. Look again."
_NO_CODE = "The code has six figures. They are lit on the table."
_STALE_SAID = (
    "This device was paired in an earlier run. Nothing is lost: enter the code shown on the "
    "table now."
)


def page(name: str) -> str:
    """The text of one shipped page file."""
    owner = "devices.serving" if name in SHARED else "devices.projector.pages"
    return resources.files(owner).joinpath(name).read_text("utf-8")


def application(this_run: BeamRun, hosts: Collection[str]) -> ASGIApp:
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
    app.state.this_run = this_run
    return Guard(app, hosts)


def _run_of(here: HTTPConnection) -> BeamRun:
    this_run: BeamRun = here.app.state.this_run
    return this_run


async def _home(request: Request) -> Response:
    del request
    return RedirectResponse("/remote", 303)


async def _stage_page(request: Request) -> Response:
    pairing, key = _run_of(request).pairing, request.query_params.get("key")
    if pairing.is_stage(key):
        return _with_cookie(RedirectResponse("/stage", 303), _STAGE, key or "")
    if not pairing.is_stage(request.cookies.get(_STAGE)):
        return _plain_page(
            "Not this run's stage",
            "The stage has a new address in each run of canvasrule beam, which prints it behind "
            '"Stage": open that one. If it has ended, start it again. Nothing is lost: what was '
            "trued up and traced is kept.",
            403,
        )
    return HTMLResponse(page("stage.html"))


async def _remote_page(request: Request) -> Response:
    if _run_of(request).pairing.is_remote(request.cookies.get(_REMOTE)):
        return HTMLResponse(page("remote.html"))
    # A code in the address is only filled in: any page elsewhere can make a browser open one, and
    # what is sent by the button says by its Origin where it comes from.
    code = request.query_params.get("code", "")
    return _pair_page("" if _REMOTE not in request.cookies else _STALE_SAID, code=code)


async def _pair(request: Request) -> Response:
    body = await short_body(request)
    if body is None:
        return too_long()
    code = parse_qs(body.decode("utf-8", "replace")).get("code", [""])[0]
    return await _paired(_run_of(request), code, request.client.host if request.client else "")


async def _paired(this_run: BeamRun, code: str, address: str) -> Response:
    wait = this_run.pairing.wait(address)
    if wait:
        return _wait_page(wait)
    token = this_run.pairing.pair(code, address)
    if token is None:
        say = _NOT_THE_CODE if is_code(code.strip()) else _NO_CODE
        return _pair_page(say, 403)
    # A code is no longer needed on the stage.
    if this_run.stage is not None:
        await this_run.stage.tell(pairing_shown(this_run))
    return _with_cookie(RedirectResponse("/remote", 303), _REMOTE, token)


def _wait_page(seconds: float) -> Response:
    whole = math.ceil(seconds)
    answer = _plain_page(
        "Wait a little",
        f"Several wrong codes came from this device, so for {whole} seconds none is taken from "
        "it. Other devices need not wait. Nothing is lost: go back then, and type the six "
        "figures that are lit on the table.",
        429,
    )
    answer.headers["Retry-After"] = str(whole)
    return answer


async def _asset(request: Request) -> Response:
    name = request.path_params["name"]
    if name not in PAGES:
        return Response("There is no such file.", 404, media_type="text/plain")
    return Response(page(name), media_type=PAGES[name])


async def _light(socket: WebSocket) -> None:
    this_run = _run_of(socket)
    await socket.accept()
    if not this_run.pairing.is_stage(socket.cookies.get(_STAGE)):
        await socket.close(_STALE)
        return
    # A stage that does not answer does not keep its place: the window may have been closed.
    kept = this_run.stage is not None and not this_run.stage.quiet
    same = this_run.stage is not None and this_run.stage.page == socket.query_params.get("page")
    if kept and not same and socket.query_params.get("take") != "1":
        await socket.close(SECOND)
        return
    await hold_stage(this_run, socket)


async def _desk(socket: WebSocket) -> None:
    this_run = _run_of(socket)
    await socket.accept()
    if not this_run.pairing.is_remote(socket.cookies.get(_REMOTE)):
        await socket.close(_STALE)
        return
    await hold_remote(this_run, socket)


def _with_cookie(response: Response, name: str, value: str) -> Response:
    response.set_cookie(name, value, httponly=True, samesite="lax", path="/")
    return response


def _pair_page(say: str, status: int = 200, code: str = "") -> Response:
    filled_in = code if is_code(code) else ""
    text = page("pair.html").replace("{{say}}", say).replace("{{code}}", filled_in)
    return HTMLResponse(text, status)


def _plain_page(title: str, text: str, status: int) -> Response:
    return HTMLResponse(
        page("plain.html").replace("{{title}}", title).replace("{{text}}", text), status
    )
