"""The person at the table: what is said, asked, and wished while a run goes on. No machine.

With `attended` off nothing is asked and every question takes the answer that goes on.
"""

from __future__ import annotations

import json
import sys
import time
from typing import TYPE_CHECKING, Literal

from msgspec import Struct

from devices.session.keypresses import forget_keys, has_keyboard, key_pressed, single_keys
from devices.session.piped_keys import TYPED, is_piped
from marking.errors import BadInputError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from typing import Any

    from devices.driving.driver import Wish

PAUSE, STOP = "p", "s"
_LOOK_SECONDS = 0.02


class Person(Struct, frozen=True):
    """One person, or nobody."""

    attended: bool

    def say(self, text: str) -> None:
        """Says something, beside the result; to a program, as one JSON object a line."""
        self._tell("say", text)

    def shows(self, kind: str, record: Mapping[str, Any]) -> None:
        """The figures behind what is said, for a program that draws them; a person reads words."""
        if is_piped():
            print(json.dumps({kind: record}), file=sys.stderr, flush=True)

    def waits_for(self, what: Literal["port", "answer"], seconds: float) -> None:
        """Shows a program for what the machine is waited for, and how long at most; 0 once it is
        there.
        """
        self.shows("waits", {"for": what, "seconds": seconds})

    def _tell(self, kind: str, text: str) -> None:
        told = json.dumps({kind: text}) if is_piped() else text
        print(told, file=sys.stderr, flush=True)

    def agrees(self, question: str) -> bool:
        """Asks; Enter or y is yes. On a keyboard a single key answers, pressed after the question.

        Raises BadInputError when nobody is there to answer.
        """
        if not self.attended:
            return True
        if has_keyboard():
            return self._agrees_by_key(question)
        self.say(f"{question} [Enter: yes, n: no]")
        answer = sys.stdin.readline() if sys.stdin is not None else ""
        if not answer:
            raise BadInputError("nobody answers: the input has ended; nothing more was sent")
        return answer.strip().lower() in ("", "y", "yes")

    def _agrees_by_key(self, question: str) -> bool:
        with single_keys():
            forget_keys()
            if is_piped():
                self._tell("ask", question)
            else:
                self.say(f"{question} [Enter: yes, n: no]")
            while (pressed := key_pressed()) not in ("enter", "y", "n", "escape"):
                if pressed is None:
                    time.sleep(_LOOK_SECONDS)
        agreed = pressed in ("enter", "y")
        self.say("  yes" if agreed else "  no")
        return agreed

    def tells(self, question: str) -> str:
        """Asks for something typed; nothing where nobody is there. A keyboard's keys show as
        they come.

        Raises BadInputError when nobody is there to answer.
        """
        if not self.attended:
            return ""
        if is_piped():
            return self._sent(question)
        if not has_keyboard():
            self.say(question)
            answer = sys.stdin.readline() if sys.stdin is not None else ""
            if not answer:
                raise BadInputError("nobody answers: the input has ended; nothing more was sent")
            return answer.strip()
        typed = ""
        with single_keys():
            forget_keys()
            self.say(question)
            while (pressed := key_pressed()) not in ("enter", "escape"):
                if pressed is None:
                    time.sleep(_LOOK_SECONDS)
                elif pressed == "backspace":
                    typed = typed[:-1]
                elif len(pressed) == 1:
                    typed += pressed
                if pressed is not None:
                    print(f"\r  {typed} ", end="", file=sys.stderr, flush=True)
        self.say("")
        return typed.strip() if pressed == "enter" else ""

    def _sent(self, question: str) -> str:
        """What a program sends for something typed. A stop ends the run: no answer would."""
        forget_keys()
        self._tell("type", question)
        while True:
            key = key_pressed()
            if key is None:
                time.sleep(_LOOK_SECONDS)
            elif key.startswith(TYPED):
                self.say(f"  {key.removeprefix(TYPED)}")
                return key.removeprefix(TYPED).strip()
            elif key in (STOP, "escape", "q"):
                raise KeyboardInterrupt

    def wish(self) -> Wish:
        """What the keys say, without waiting; of several, the one that is safest."""
        if not self.attended:
            return "go on"
        pressed = set()
        while (key := key_pressed()) is not None:
            pressed.add(key)
        if pressed & {STOP, "escape"}:
            return "stop"
        return "pause" if PAUSE in pressed else "go on"
