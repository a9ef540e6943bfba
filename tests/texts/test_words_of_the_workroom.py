"""What a person reads says the workroom's words: a seam is sewn there, and a witness testifies."""

from __future__ import annotations

import ast
import re

from tests.test_architecture import FILES, ROOT
from tests.texts.from_pages import html_texts

ELSEWHERE = re.compile(r"\b(seam|witness(es)?|closure|pose|control (mark|row))s?\b", re.IGNORECASE)
"""Said here: join, locating mark, how readings agree, where a device stands, tape mark."""
SEWN = ("marking.cloth", "marking.output.cover_sheet")
"""Here seams are the sewn ones."""
IN_A_SCRIPT = re.compile(r'"((?:[^"\\\n]|\\.)*)"')
KEPT = ("marking.record", "marking.begun.plain_data")
"""Columns and kept data keep their published names."""


def said(module: str) -> list[str]:
    """Literals of more than one word, docstrings apart; a single word is a key or a kind."""
    tree = ast.parse(FILES[module].read_text("utf-8"))
    apart = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    return [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in apart
        if " " in node.value.strip() or node.value.endswith((" ", ":"))
    ]


def test_no_message_speaks_of_a_seam_a_witness_a_closure_or_a_pose():
    told = {
        module: found
        for module in FILES
        if not module.startswith((*KEPT, *SEWN))
        if (found := [text for text in said(module) if ELSEWHERE.search(text)])
    }
    assert not told
    assert [text for text in said("marking.cloth.canvas") if ELSEWHERE.search(text)]


def test_no_name_in_the_code_is_such_a_word():
    """Keys of job.toml, of JSON and of kept data are strings, and keep theirs."""
    words = re.compile(r"_?(seam|witness|control)(s|es)?", re.IGNORECASE)
    named = {
        (module, name)
        for module in FILES
        if not module.startswith(SEWN)
        for node in ast.walk(ast.parse(FILES[module].read_text("utf-8")))
        for name in (
            getattr(node, "arg", None),
            getattr(node, "id", None),
            node.name if isinstance(node, ast.ClassDef | ast.FunctionDef) else None,
        )
        if name is not None and words.fullmatch(name)
    }
    assert not named - {("devices.bench.languages.said_here", "_CONTROL")}, "a verb"


def test_no_page_does_either():
    told = {}
    for path in [*(ROOT / "devices").rglob("*.html"), *(ROOT / "devices").rglob("*.js")]:
        text = path.read_text("utf-8")
        is_page = path.suffix == ".html"
        told[path.name] = (
            [one.words for one in html_texts(text, "")]
            if is_page
            else [one for one in IN_A_SCRIPT.findall(text) if " " in one]
        )
    assert told["remote.html"]
    assert told["texts.js"]
    assert not [one for found in told.values() for one in found if ELSEWHERE.search(one)]


def test_nor_does_what_stands_at_the_top():
    assert not ELSEWHERE.search((ROOT / "README.md").read_text("utf-8"))
