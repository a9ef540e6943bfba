"""Broken requests and messages thrown at a real `canvasrule beam`, and what it makes of them.

As others would: raw HTTP, raw WebSocket frames (RFC 6455), and messages of the pages spoilt at
random, from clients that are paired and from clients that are not.
"""

from __future__ import annotations

import base64
import contextlib
import http.client
import json
import random
import re
import socket
import struct
import tempfile
import time
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode, urlsplit

from tests.projector.browsers import beam, millrace

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.projector.browsers import Run

PATIENCE = 30.0
"""Seconds after which no answer is taken for none."""
VALID: list[dict[str, Any]] = [
    {"do": "done", "line": "cross-0"},
    {"do": "undone"},
    {"do": "next-line"},
    {"do": "next-section"},
    {"do": "section", "section": "r1c2"},
    {"do": "look", "kind": "hem", "colour": "#7dff9b", "width_px": 3, "arrows": 2},
    {"do": "look", "traced_look": "hide", "outlines": True},
    {"do": "blank", "on": True},
    {"do": "notes", "text": "numeral 7 is smudged"},
    {"do": "true-up"},
    {"do": "true-up", "quick": True},
    {"do": "nudge", "across": 3, "down": -2},
    {"do": "target", "target": "4"},
    {"do": "landed", "along": "28 3/8", "across": "12 in"},
    {"do": "lifted", "target": "1"},
    {"do": "finish"},
    {"do": "give-up"},
    {"do": "use-true-up", "section": "r1c1"},
    {"hello": "another"},
    {"beat": 1},
    {"size": [1920, 1080], "ratio": 1, "scale": 1},
]
ODD: list[Any] = [
    None, True, False, 0, -1, 1.0, 0.5, 2**53, 10**400, -(10**4000), 1e308, "", " ", "r9c9", "1",
    "\ud800", "\x00", "x" * 5000, "9" * 6000 + " in", "1/0 in", "-1 in", "28 3/8 ft", "½", "١٢ in",
    "../../job.db", "<script>", [], [[]], {}, [1, 2, 3], {"do": {"do": {}}}, ["r1c1"],
]  # fmt: skip


ODD_HEADERS = [
    "X: y", "Cookie: canvasrule-remote=\xe9\xff; ;=", "Transfer-Encoding: chunked", " x: y", ": :",
    "Connection: upgrade", "Upgrade: websocket", "X" * 20_000,
]  # fmt: skip


@dataclass
class Report:
    """What came of it."""

    sent: int = 0
    slowest: float = 0.0
    """Seconds that the slowest answer took."""
    slowest_what: str = ""
    memory_mb: float = 0.0
    """The most that the server took."""
    said: str = ""
    """What it wrote to stderr beside its notes."""
    unanswered: list[str] = field(default_factory=list)
    alive: bool = False
    """Whether a remote is still shown the desk afterwards."""

    def answered(self, seconds: float, what: str) -> None:
        """Counts an answer."""
        if seconds > self.slowest:
            self.slowest, self.slowest_what = seconds, what[:200]


def broken_messages(count: int, seed: int) -> Report:
    """Throws `count` broken requests and messages at a run of its own."""
    rng, report = random.Random(seed), Report()
    with tempfile.TemporaryDirectory() as folder, Path(folder, "said").open("w+") as errors:
        millrace(Path(folder, "job"))
        with beam(Path(folder, "job"), errors=errors) as run:
            thrower = _Thrower(run, rng, report)
            for _ in range(count):
                thrower.throw()
            thrower.close()
            report.memory_mb = _memory_mb(run)
            report.alive = _is_alive(run, thrower.cookie)
        errors.seek(0)
        notes = ("note: ", "Ctrl C ends it", "canvasrule: interrupted; nothing is lost")
        report.said = "".join(line for line in errors if not line.startswith(notes))
    return report


def _memory_mb(run: Run) -> float:
    status = Path(f"/proc/{run.process.pid}/status").read_text("ascii")
    found = re.search(r"VmHWM:\s+(\d+) kB", status)
    assert found
    return int(found[1]) / 1024


def _is_alive(run: Run, cookie: str) -> bool:
    page = _Page(run, "/desk", cookie)
    try:
        return "desk" in (json.loads(text).get("type") for text in page.texts(1))
    finally:
        page.close()


class _Page:
    """A page's connection, spoken in raw frames."""

    def __init__(self, run: Run, path: str, cookie: str) -> None:
        where = urlsplit(run.remote)
        self._socket = socket.create_connection((where.hostname, where.port), timeout=PATIENCE)
        # As browsers have it: no message waits for the one before it to be acknowledged.
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        key = base64.b64encode(b"sixteen byte key").decode()
        self._socket.sendall(
            f"GET {path} HTTP/1.1\r\nHost: {where.netloc}\r\nOrigin: http://{where.netloc}\r\n"
            "Connection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\n"
            f"Sec-WebSocket-Key: {key}\r\nCookie: {cookie}\r\n\r\n".encode()
        )
        head = b""
        while not head.endswith(b"\r\n\r\n"):
            got = self._socket.recv(1)
            assert got, head
            head += got
        assert b" 101 " in head.split(b"\r\n")[0], head

    def send(self, text: str) -> None:
        """A whole text message, masked as a browser's is."""
        self.raw(frame_of(text))

    def raw(self, sent: bytes) -> None:
        """Bytes as they are."""
        self._socket.sendall(sent)

    def text(self) -> str | None:
        """The next message; None when the connection was closed."""
        while True:
            head = self._exactly(2)
            if head is None:
                return None
            size = head[1] & 0x7F
            if size >= 126:
                more = self._exactly(2 if size == 126 else 8)
                size = int.from_bytes(more or b"", "big")
            body = self._exactly(size)
            if body is None or head[0] & 0xF == 0x8:
                return None
            if head[0] & 0xF == 0x1:
                return body.decode("utf-8")

    def texts(self, count: int) -> list[str]:
        """The next `count` messages."""
        return [text for _ in range(count) if (text := self.text()) is not None]

    def finish(self) -> None:
        """Says that no more will come, and takes what does until the other side is done too."""
        self._socket.shutdown(socket.SHUT_WR)
        while self._socket.recv(65536):
            pass

    def close(self) -> None:
        """Ends it as a lost connection ends."""
        self._socket.close()

    def _exactly(self, size: int) -> bytes | None:
        got = b""
        while len(got) < size:
            try:
                part = self._socket.recv(size - len(got))
            except ConnectionResetError:
                return None
            if not part:
                return None
            got += part
        return got


def frame(code: int, body: bytes, *, last: bool = True, masked: bool = True, rsv: int = 0) -> bytes:
    """A WebSocket frame (RFC 6455, 5.2)."""
    first = (0x80 if last else 0) | rsv << 4 | code
    flag = 0x80 if masked else 0
    size = len(body)
    if size < 126:
        head = struct.pack("!BB", first, flag | size)
    elif size < 65536:
        head = struct.pack("!BBH", first, flag | 126, size)
    else:
        head = struct.pack("!BBQ", first, flag | 127, size)
    mask = b"\x01\x02\x03\x04"
    if not masked:
        return head + body
    spread = (mask * (size // 4 + 1))[:size]
    mixed = int.from_bytes(body, "big") ^ int.from_bytes(spread, "big")
    return head + mask + mixed.to_bytes(size, "big")


def frame_of(text: str) -> bytes:
    """A whole text message, lone surrogates and all."""
    return frame(0x1, text.encode("utf-8", "surrogatepass"))


class _Thrower:
    """Throws one broken thing after another, over connections that it makes anew when lost."""

    def __init__(self, run: Run, rng: random.Random, report: Report) -> None:
        self.run, self.rng, self.report = run, rng, report
        self.cookie = f"{self._paired()}; {self._staged()}"
        self._pages: dict[str, _Page] = {}
        self._tap = 0
        # One that comes by half is waited for, and what is thrown next waits for none.
        self._exchanges, self._asked = ThreadPoolExecutor(8), list[Future[None]]()
        self._ways: list[tuple[Callable[[], None], int]] = [
            (self._message, 80),
            (self._frames, 10),
            (self._request, 10),
        ]

    def throw(self) -> None:
        """One."""
        ways, weights = zip(*self._ways, strict=True)
        self.rng.choices(ways, weights)[0]()
        self.report.sent += 1

    def close(self) -> None:
        """Ends what is open, once every request is answered or given up."""
        for asked in self._asked:
            asked.result()
        self._exchanges.shutdown()
        for page in self._pages.values():
            page.close()

    def _paired(self) -> str:
        where = urlsplit(self.run.remote)
        connection = http.client.HTTPConnection(where.hostname, where.port, timeout=PATIENCE)
        origin = {"Origin": f"http://{where.netloc}"}
        connection.request("POST", "/pair", urlencode({"code": self.run.code}), origin)
        return _cookie(connection)

    def _staged(self) -> str:
        where = urlsplit(self.run.stage)
        connection = http.client.HTTPConnection(where.hostname, where.port, timeout=PATIENCE)
        connection.request("GET", f"{where.path}?{where.query}")
        return _cookie(connection)

    def _page(self, path: str) -> _Page:
        if path not in self._pages:
            self._pages[path] = page = _Page(self.run, path, self.cookie)
            page.send(json.dumps({"hello": f"thrower {path}"}))
        return self._pages[path]

    def _lose(self, path: str) -> None:
        self._pages.pop(path).close()

    def _message(self) -> None:
        """A message of the pages, spoilt, and a sound tap after it, which waits for its turn."""
        path = self.rng.choice(["/desk", "/desk", "/light"])
        text = self._spoilt()
        self._ask(path, frame_of(text), text)

    def _frames(self) -> None:
        """Frames that no browser sends; a half of one may keep the server waiting for the rest."""
        rng = self.rng
        code, size = rng.randrange(16), rng.choice([0, 1, 125, 126, 3000, 70_000, 200_000])
        kind, body = rng.randrange(6), rng.randbytes(size)
        sent = {
            0: frame(code, body, last=rng.random() < 0.5, masked=rng.random() < 0.8),
            1: frame(0x2, body),
            2: frame(0x1, body, rsv=rng.randrange(8)),
            3: b"\x81\xff" + struct.pack("!Q", rng.choice([2**40, 2**63, 2**64 - 1])),
            4: frame(0x1, b"[" * 60_000),
            5: b"".join(frame(0x1 if n == 0 else 0x0, b"[" * 30, last=False) for n in range(300)),
        }[kind]
        path = rng.choice(["/desk", "/light"])
        if kind in (1, 4):
            self._ask(path, sent, f"a frame of kind {kind}")
            return
        with contextlib.suppress(OSError):  # it may have been refused and closed meanwhile
            self._page(path).raw(sent)
            self._page(path).finish()
        self._lose(path)

    def _ask(self, path: str, sent: bytes, what: str) -> None:
        """Sends it and a sound tap after it, and waits for what came of that."""
        page = self._page(path)
        self._tap += 1
        sound = json.dumps({"do": "blank", "on": False, "tap": self._tap})
        began = time.monotonic()
        try:
            page.raw(sent + frame_of(sound))
            while (text := page.text()) is not None and not _answers(json.loads(text), self._tap):
                pass
            if text is None:
                self._lose(path)  # refused, and the connection ended
            self.report.answered(time.monotonic() - began, what)
        except (ConnectionResetError, BrokenPipeError):
            self._lose(path)
        except TimeoutError:
            self.report.unanswered.append(what[:200])
            self._lose(path)

    def _spoilt(self) -> str:
        rng = self.rng
        message = dict(rng.choice(VALID))
        for _ in range(rng.randrange(3)):
            message[rng.choice([*message, "tap", "line", "hello", "size", "beat"])] = rng.choice(
                ODD
            )
        if rng.random() < 0.8:
            self._tap += 1
            message["tap"] = self._tap
        text = _text_of(message)
        spoil = rng.randrange(8)
        if spoil == 0:
            at = rng.randrange(len(text))
            text = text[:at] + rng.choice('{}[]",:\\\x00é9') + text[at + rng.randrange(3) :]
        elif spoil == 1:
            text = text[: rng.randrange(len(text))]
        elif spoil == 2:
            text = rng.choice(["[", '{"a":', "["]) * rng.choice([10, 900, 8_000]) + text
        elif spoil == 3:
            text = text.replace("1", rng.choice(["NaN", "Infinity", "1e999", "9" * 5000]))
        return text

    def _request(self) -> None:
        """A request that no browser sends, and most that any might."""
        rng, where = self.rng, urlsplit(self.run.remote)
        host = rng.choice([where.netloc] * 4 + ["evil.example", "", "a" * 300, "127.0.0.1:0"])
        path = rng.choice(
            ["/", "/remote", "/stage", "/pair", "/desk", "/light", "/pages/remote.js", "*",
             "/pages/%2e%2e/%00", "/remote?code=%F0%28", "/stage?key=%ED%A0%80", "/\xff", "//x",
             f"/{'a' * 3000}", f"/{'b' * 40_000}"]
        )  # fmt: skip
        method = rng.choice(["GET", "POST", "POST", "PUT", "HEAD", "OPTIONS", "BREW", "", "G\x00T"])
        body = rng.choice(
            [b"", b"code=", b"code=%ED%A0%80", b"code=" + b"9" * 5000, rng.randbytes(40)]
        )
        length = rng.choice([str(len(body))] * 4 + ["-1", "1e3", "99999999999", "٣", "0x10"])
        lines = [
            f"{method} {path} HTTP/{rng.choice(['1.1'] * 5 + ['1.0', '2.0', '9', ''])}",
            f"Host: {host}",
            f"Origin: {rng.choice([f'http://{where.netloc}', 'null', 'http://evil.example'])}",
            f"Content-Length: {length}",
            rng.choice(ODD_HEADERS),
            "Connection: close",
        ]
        if rng.random() < 0.2:
            lines += ["Upgrade: websocket", "Sec-WebSocket-Version: 13", "Sec-WebSocket-Key: x"]
        sent = "\r\n".join(lines).encode("utf-8") + b"\r\n\r\n" + body
        if rng.random() < 0.1:
            sent = sent[: rng.randrange(len(sent))]
        self._asked.append(self._exchanges.submit(self._exchange, sent))

    def _exchange(self, sent: bytes) -> None:
        """Sends all of it, and takes what comes until the server has no more to say."""
        where = urlsplit(self.run.remote)
        began = time.monotonic()
        one = socket.create_connection((where.hostname, where.port), timeout=PATIENCE)
        with one, contextlib.suppress(OSError):
            one.sendall(sent)
            one.shutdown(socket.SHUT_WR)
            try:
                if one.recv(1):
                    self.report.answered(time.monotonic() - began, repr(sent[:200]))
                while one.recv(65536):
                    pass
            except TimeoutError:
                self.report.unanswered.append(repr(sent[:200]))


def _answers(told: dict[str, Any], tap: int) -> bool:
    return told["type"] in ("done", "refused") and told.get("tap", 0) >= tap


def _cookie(connection: http.client.HTTPConnection) -> str:
    answer = connection.getresponse()
    answer.read()
    connection.close()
    found = answer.headers["set-cookie"]
    assert found, answer.status
    return str(found).partition(";")[0]


def _text_of(message: dict[str, Any]) -> str:
    """JSON; whole numbers of thousands of digits are written out too, as Python will not."""
    long = {key: value for key, value in message.items() if _is_long(value)}
    text = json.dumps({key: value for key, value in message.items() if key not in long})
    for key, value in long.items():
        digits = "9" * (4000 if value < 0 else 400)
        text = f'{text[:-1]}{", " if len(text) > 2 else ""}"{key}": {digits}}}'
    return text


def _is_long(value: object) -> bool:
    return isinstance(value, int) and abs(value) >= 10**300
