"""What the beam's server lets in: its own pages, short requests, and remotes that know the code."""

from __future__ import annotations

import asyncio
import http.client
import re
import socket
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from devices.serving.listening import bound
from devices.serving.pairing import Pairing
from tests.bench.benches import awaited
from tests.projector.browsers import beam


def asked(run, path, method="GET", **headers):
    where = urlsplit(run.remote)
    connection = http.client.HTTPConnection(where.hostname, where.port, timeout=60)
    connection.putrequest(method, path, skip_host="host" in headers)
    for name, value in headers.items():
        connection.putheader(name, value)
    if method == "POST":
        connection.putheader("Content-Length", "0")
    connection.endheaders()
    answer = connection.getresponse()
    body = answer.read().decode()
    connection.close()
    return answer, body


UPGRADE = {
    "Connection": "Upgrade",
    "Upgrade": "websocket",
    "Sec-WebSocket-Version": "13",
    "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==",
}


def test_only_the_run_s_own_pages_are_answered(work, tmp_path):
    with beam(tmp_path) as run:
        port = urlsplit(run.remote).port
        assert asked(run, "/remote")[0].status == 200
        for method, path in (("GET", "/remote"), ("GET", "/stage"), ("POST", "/pair")):
            own = {"Origin": f"http://127.0.0.1:{port}"}
            refused = asked(run, path, method, host=f"evil.example:{port}", **own)[0]
            assert refused.status == 400, path
            # What else such a request would send is not waited for.
            assert refused.headers["connection"] == "close"
            assert "frame-ancestors 'none'" in refused.headers["content-security-policy"]
            assert (
                asked(run, "/desk", host=f"evil.example:{port}", **own, **UPGRADE)[0].status == 400
            )
        near = f"http://127.0.0.1:{port - 1}"
        assert asked(run, "/pair", "POST", Origin=near)[0].status == 403
        assert asked(run, "/pair", "POST", Origin="http://evil.example")[0].status == 403
        assert asked(run, "/desk", Origin="http://evil.example", **UPGRADE)[0].status == 403
        assert asked(run, "/desk", **UPGRADE)[0].status == 403
        for path in ("/pages/", "/pages", "/pages/../server.py", "/pages/%2e%2e/server.py",
                     "/job.toml", "/pages/job.db", "/pages/stage.html"):  # fmt: skip
            assert asked(run, path)[0].status == 404, path
        assert asked(run, "/stage")[0].status == 403
        assert asked(run, "/stage?key=guess")[0].status == 403
        policy = asked(run, "/remote")[0].headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "frame-ancestors 'none'" in policy


def test_pages_name_no_other_address(work, tmp_path):
    with beam(tmp_path) as run:
        for name in ("stage.js", "stage.css", "remote.js", "remote.css"):
            body = asked(run, f"/pages/{name}")[1]
            others = set(re.findall(r"https?://[^\s\"'`]+", body)) - {"http://www.w3.org/2000/svg"}
            assert not others


class Clock:
    """Seconds that pass when they are told to."""

    def __init__(self):
        self.now = 0.0

    def __call__(self):
        return self.now


def wrong_for(code):
    return "000000" if code != "000000" else "111111"


def test_who_guesses_is_slowed_down_ever_more_and_nobody_else_is():
    clock = Clock()
    pairing = Pairing(code="123456", clock=clock)
    tried = 0
    while clock.now < 3600:
        assert pairing.pair("654321", "192.0.2.7") is None
        tried += not pairing.wait("192.0.2.7")
        clock.now += max(1.0, pairing.wait("192.0.2.7"))
    assert tried < 15, "of a million codes"
    pairing.pair("654321", "192.0.2.7")
    assert pairing.wait("192.0.2.7") > 0
    assert pairing.pair("123456", "192.0.2.7") is None
    assert pairing.pair("123456", "192.0.2.8") is not None


@pytest.mark.parametrize("code", ["", " ", "12345", "1234567", "12345a", "１２３４５６", "x" * 900])
def test_what_is_no_code_is_no_guess(code):
    pairing = Pairing(code="123456", clock=Clock())
    for _ in range(200):
        assert pairing.pair(code, "192.0.2.7") is None
    assert pairing.pair("123456", "192.0.2.7") is not None


def posted(run, code, **headers):
    where = urlsplit(run.remote)
    body = f"code={code}".encode()
    connection = http.client.HTTPConnection(where.hostname, where.port, timeout=60)
    named = {
        "Origin": f"http://{where.netloc}",
        "Content-Type": "application/x-www-form-urlencoded",
    }
    connection.request("POST", "/pair", body, named | headers)
    answer = connection.getresponse()
    text = answer.read().decode()
    connection.close()
    return answer, text


def test_codes_that_a_page_elsewhere_sends_lock_nobody_out(work, tmp_path):
    with beam(tmp_path) as run:
        wrong = wrong_for(run.code)
        for _ in range(25):
            # As an image or a frame in another page asks for it; no Origin comes with it.
            assert asked(run, f"/remote?code={wrong}")[0].status == 200
            assert posted(run, wrong, Origin="http://evil.example")[0].status == 403
            assert posted(run, "")[0].status == 403
        assert posted(run, run.code)[0].status == 303


def test_a_code_in_the_address_is_filled_in_and_pairs_by_the_button_alone(work, tmp_path):
    with beam(tmp_path) as run:
        answer, body = asked(run, f"/remote?code={run.code}")
        assert answer.headers["set-cookie"] is None
        assert f'value="{run.code}"' in body
        assert "<script>" not in asked(run, "/remote?code=%22%3E%3Cscript%3E")[1]


def test_guessing_is_slowed_down_on_the_page_and_says_for_how_long(work, tmp_path):
    with beam(tmp_path) as run:
        for _ in range(6):
            answer, body = posted(run, wrong_for(run.code))
        assert answer.status == 429
        assert 0 < int(answer.headers["retry-after"]) <= 30
        assert "Nothing is lost" in body


def opened(run):
    where = urlsplit(run.remote)
    return socket.create_connection((where.hostname, where.port), timeout=60), where.netloc


def until_closed(connection):
    """All that comes until the other side closes."""
    heard = b""
    try:
        while part := connection.recv(65536):
            heard += part
    except ConnectionResetError:
        pass
    return heard


def memory_mb(run):
    """The most memory that the run has taken so far."""
    status = Path(f"/proc/{run.process.pid}/status").read_text("ascii")
    return int(re.search(r"VmHWM:\s+(\d+) kB", status)[1]) / 1024


def test_a_long_body_is_refused_by_its_announced_length_and_not_read(work, tmp_path):
    with beam(tmp_path) as run:
        connection, host = opened(run)
        head = f"POST /pair HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\n"
        connection.sendall(f"{head}Content-Length: 50000000\r\n\r\n".encode())
        # Nothing of the body was sent, so an answer shows that none was waited for.
        assert until_closed(connection).startswith(b"HTTP/1.1 413 ")


def test_a_long_body_of_no_announced_length_is_refused_while_it_comes(work, tmp_path):
    with beam(tmp_path) as run:
        asked(run, "/remote")
        before = memory_mb(run)
        connection, host = opened(run)
        head = f"POST /pair HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\n"
        connection.sendall(f"{head}Transfer-Encoding: chunked\r\n\r\n".encode())
        chunk = b"10000\r\n" + b"x" * 65536 + b"\r\n"
        sent = 0
        try:
            while sent < 50_000_000:
                connection.sendall(chunk)
                sent += len(chunk)
        except (ConnectionResetError, BrokenPipeError):
            pass
        assert sent < 20_000_000, "the rest was not taken"
        assert memory_mb(run) - before < 20


def test_a_request_that_comes_letter_by_letter_does_not_hold_its_connection(work, tmp_path):
    with beam(tmp_path) as run:
        (connection, host), (again, _) = opened(run), opened(run)
        connection.sendall(b"GET /remote HTTP/1.1\r\nHost: ")
        again.sendall(f"GET /remote HTTP/1.1\r\nHost: {host}\r\n\r\nGET /rem".encode())
        until_closed(connection)  # or the wait for it runs out
        assert until_closed(again).startswith(b"HTTP/1.1 200 ")


def test_no_answer_waits_until_the_one_before_it_is_acknowledged():
    # Nagle's algorithm (RFC 896) beside late acknowledgements (RFC 1122): 40 ms and more a tap.
    async def switched_off():
        found = asyncio.get_running_loop().create_future()

        class Door(asyncio.Protocol):
            def connection_made(self, transport):
                taken = transport.get_extra_info("socket")
                found.set_result(taken.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY))

        server = await asyncio.get_running_loop().create_server(Door, sock=bound(0, lan=False))
        async with server:
            _, writer = await asyncio.open_connection(*server.sockets[0].getsockname())
            writer.close()
            return await found

    assert awaited(switched_off())
