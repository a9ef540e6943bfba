"""What a page is told over its connection while the desk is at work."""

from __future__ import annotations

import asyncio
import json
import threading

from devices.projector.pages import beam_run
from devices.serving.pairing import Pairing
from marking.record.record import open_record
from tests.projector.browsers import millrace


def test_the_page_is_answered_while_a_true_up_is_worked_out(tmp_path, monkeypatch):
    begun_to_work, may_end = threading.Event(), threading.Event()

    def slow(desk, work, command):
        begun_to_work.set()
        assert may_end.wait(30)
        return desk

    class Socket:
        """A page that asks for something slow, then whether it is heard, and goes when it is."""

        def __init__(self):
            self.said = [{"hello": "a"}, {"do": "finish", "tap": 1}]
            self.told = []

        async def receive(self):
            if self.said:
                return {"type": "websocket.receive", "text": json.dumps(self.said.pop(0))}
            while not begun_to_work.is_set():
                await asyncio.sleep(0)
            if not any(one["type"] == "beat" for one in self.told):
                return {"type": "websocket.receive", "text": '{"beat": 1}'}
            may_end.set()
            while not any(one["type"] == "done" for one in self.told):
                await asyncio.sleep(0)
            return {"type": "websocket.disconnect", "code": 1000}

        async def send_text(self, text):
            self.told.append(json.loads(text))

    monkeypatch.setattr(beam_run, "acted", slow)
    work = millrace(tmp_path)
    with open_record(tmp_path) as record:
        this_run, socket = beam_run.BeamRun(work, record, Pairing(), "http://x/remote"), Socket()
        asyncio.run(beam_run.hold_remote(this_run, socket))
    kinds = [one["type"] for one in socket.told if one["type"] in ("beat", "done")]
    assert kinds == ["beat", "done"]
