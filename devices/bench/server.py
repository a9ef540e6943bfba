"""The bench's local server: who may open the page, and what files it is made of.

It knows requests and the key; what is said over the sockets is `devices.bench.bench_run`'s.
"""

from __future__ import annotations

import asyncio
import contextlib
import hmac
import json
from functools import partial
from importlib import resources
from typing import TYPE_CHECKING
from urllib.parse import quote

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.responses import FileResponse, HTMLResponse, RedirectResponse, Response
from starlette.routing import Route, WebSocketRoute

from devices.bench.bench_run import hold_page
from devices.bench.languages.words import said_to, words_in
from devices.bench.state import LOOKED_AT, written_files
from devices.serving.body import short_body
from devices.serving.guard import Guard, too_long
from marking.errors import CanvasruleError

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Collection

    from starlette.requests import HTTPConnection, Request
    from starlette.types import ASGIApp
    from starlette.websockets import WebSocket

    from devices.bench.bench_run import BenchRun

    Answering = Callable[[Request], Awaitable[Response]]

FILES = {
    "bench.css": "text/css",
    "bench.js": "text/javascript",
    "cards.js": "text/javascript",
    "faults.js": "text/javascript",
    "fields.js": "text/javascript",
    "errands.js": "text/javascript",
    "jobs.js": "text/javascript",
    "lengths.js": "text/javascript",
    "light.js": "text/javascript",
    "look.js": "text/javascript",
    "mark.js": "text/javascript",
    "picture.js": "text/javascript",
    "placed.js": "text/javascript",
    "ports.js": "text/javascript",
    "printed.js": "text/javascript",
    "readings.js": "text/javascript",
    "refused.js": "text/javascript",
    "texts.js": "text/javascript",
    "results/elements.js": "text/javascript",
    "results/buy.js": "text/javascript",
    "results/proof.js": "text/javascript",
    "results/square.js": "text/javascript",
    "results/tape.js": "text/javascript",
    "ticks.js": "text/javascript",
    "language.js": "text/javascript",
    "words.js": "text/javascript",
}
_STALE = 4401
_LANGUAGE = "canvasrule-language"
"""The cookie that the page keeps its language in."""


def application(this_run: BenchRun, hosts: Collection[str]) -> ASGIApp:
    """The page of one run, answering only at `hosts`."""

    app = Starlette(
        routes=[
            Route("/", _page),
            Route("/layout", _with_key(_layout)),
            Route("/inked", _with_key(_inked)),
            Route("/sections", _with_key(_sections)),
            Route("/out/{name:path}", _with_key(_written)),
            Route("/ports", _with_key(_ports)),
            Route("/stop", _with_key(_stop), methods=["POST"]),
            Route("/try", _with_key(_try), methods=["POST"]),
            Route("/pages/words/{language}.json", _words),
            Route("/pages/{name:path}", _asset),
            WebSocketRoute("/bench", _bench),
        ],
        middleware=[Middleware(GZipMiddleware, compresslevel=3)],
    )
    app.state.this_run = this_run
    return Guard(app, hosts)


def _run_of(here: HTTPConnection) -> BenchRun:
    this_run: BenchRun = here.app.state.this_run
    return this_run


def _cookie(here: HTTPConnection) -> str:
    """The cookie's name: browsers keep none by port, and two benches may be open."""
    return f"canvasrule-bench-{here.url.port}"


def _may_enter(here: HTTPConnection) -> bool:
    return _is_key(here, here.cookies.get(_cookie(here)))


def _is_key(here: HTTPConnection, given: str | None) -> bool:
    return hmac.compare_digest((given or "").encode(), _run_of(here).key.encode())


def _with_key(answer: Answering) -> Answering:
    """The same for whoever has the key, and a refusal for all others."""

    async def guarded(request: Request) -> Response:
        return await answer(request) if _may_enter(request) else Response(status_code=403)

    return guarded


def _text(name: str) -> str:
    return resources.files("devices.bench").joinpath("pages", *name.split("/")).read_text("utf-8")


async def _page(request: Request) -> Response:
    if _is_key(request, request.query_params.get("key")):
        await _run_of(request).asked_for(request.query_params.get("job"))
        answer = RedirectResponse("/", 303)
        key = _run_of(request).key
        answer.set_cookie(_cookie(request), key, httponly=True, samesite="lax", path="/")
        return answer
    if not _may_enter(request):
        text = (
            "This page has a new address in each run of canvasrule bench, which prints it: open "
            "that one. Nothing is lost."
        )
        wanted = f"{request.cookies.get(_LANGUAGE, '')},{request.headers.get('accept-language')}"
        return Response(said_to(wanted, text), 403, media_type="text/plain")
    return HTMLResponse(_text("bench.html"))


async def _layout(request: Request) -> Response:
    job = _run_of(request).job
    if job is None:
        return Response("{}", media_type="application/json")
    # A page asks before it is told of the job, and must know which marking it was given.
    of = f"{job.drawn} {quote(str(job.folder.resolve()), errors='replace')}"
    text = await asyncio.to_thread(job.drawing)
    return Response(text, media_type="application/json", headers={"marking-of": of})


async def _inked(request: Request) -> Response:
    job = _run_of(request).job
    text = "[]"
    # A record that cannot be read is told of beside the picture.
    with contextlib.suppress(CanvasruleError):
        text = await asyncio.to_thread(job.inked) if job else text
    return Response(text, media_type="application/json")


async def _sections(request: Request) -> Response:
    job = _run_of(request).job
    if job is None:
        return Response(status_code=404)
    try:
        way = request.query_params.get("way")
        asked = job.sections if way is None else partial(job.sections_of_way, way)
        told = await asyncio.to_thread(asked)
    except CanvasruleError as fault:
        told = json.dumps({"fault": "\n".join(fault.messages)})
    return Response(told, media_type="application/json")


async def _written(request: Request) -> Response:
    """A file of the job's `out` folder, by a name that the page was told."""
    job, name = _run_of(request).job, request.path_params["name"]
    folder = job.folder if job else _run_of(request).root
    if job is None or name not in {one["name"] for one in written_files(folder)}:
        return Response("There is no such file.", 404, media_type="text/plain")
    path = folder / "out" / name
    return FileResponse(path, media_type=LOOKED_AT[path.suffix])


async def _ports(request: Request) -> Response:
    from devices.driving.port import candidates

    found = await asyncio.to_thread(candidates)
    told = [{"name": port.name, "about": port.description} for port in found]
    return Response(json.dumps(told), media_type="application/json")


async def _stop(request: Request) -> Response:
    await _run_of(request).stop()
    return Response(status_code=204)


async def _try(request: Request) -> Response:
    body = await short_body(request)
    if body is None:
        return too_long()
    job = _run_of(request).job
    if job is None:
        return Response(status_code=404)
    asked = None
    with contextlib.suppress(ValueError, RecursionError):
        asked = json.loads(body)
    if not isinstance(asked, dict):
        return Response(status_code=400)
    try:
        found = await asyncio.to_thread(job.tried, str(asked.get("name")), asked.get("value"))
    except CanvasruleError as fault:
        found = json.dumps({"faults": {"": "\n".join(fault.messages)}})
    # To this computer itself it goes faster as it is.
    plain = {"content-encoding": "identity"}
    return Response(found, media_type="application/json", headers=plain)


async def _asset(request: Request) -> Response:
    name = request.path_params["name"]
    if name in ("link.js", "beats.js"):
        text = resources.files("devices.serving").joinpath(name).read_text("utf-8")
        return Response(text, media_type="text/javascript")
    if name not in FILES:
        return Response("There is no such file.", 404, media_type="text/plain")
    return Response(_text(name), media_type=FILES[name])


async def _words(request: Request) -> Response:
    """What the page says in another language."""
    text = await asyncio.to_thread(words_in, request.path_params["language"])
    if text is None:
        return Response("There is no such file.", 404, media_type="text/plain")
    return Response(text, media_type="application/json")


async def _bench(socket: WebSocket) -> None:
    await socket.accept()
    if not _may_enter(socket):
        await socket.close(_STALE)
        return
    await hold_page(_run_of(socket), socket)
