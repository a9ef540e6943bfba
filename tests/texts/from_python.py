"""The texts of our own Python that the bench page may show, as templates with numbered places.

An f-string is one template, "{0} of {1} sections"; where a place holds one word or another, as in
`'note' if n == 1 else 'notes'`, there is a template for each. What a program alone reads is left
out: keys, patterns, SQL, options of the command line, and what only goes onto printed sheets.
"""

from __future__ import annotations

import ast
import itertools
import re
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

MOST_VARIANTS = 6
"""Templates that one f-string is spelled out as; with more, its words are texts of their own."""
_WORD = re.compile(r"[A-Za-zÀ-ž]{2,}")
_PLACE = re.compile(r"\{\w*\}")
_NAMED = re.compile(r"\{[a-z_]+\}")
_KEY = re.compile(r"[a-z_]+[._][a-z_. ]+ ?[=:]")
_ONE_WORD = re.compile(r"[A-Z][a-z]+[.:…!]?")
_PLAIN_WORD = re.compile(r"[a-z][a-z-]+")
_NO_TEXT = re.compile(
    r"[<>\\]|\w\[|\]\{|default-src|/\*|\(\?"  # markup, annotations, patterns
    r"|^[\w.:/#%$'{}-]+$"  # keys, paths, words of a protocol
    r"|^\s*(SELECT|INSERT|CREATE|UPDATE|DELETE|ALTER|PRAGMA|DROP|id IN)\b|\bNOT NULL\b"
    r"|^[a-z_]+(, [a-z_]+)+$"  # columns
    r"|^canvasrule[\w-]*( \w+)*$"  # a command, and a folder of that name
)
SAME = frozenset((
    "in", "ft", "mm", "cm", "yd", "kg", "min", "mm/s", "in/s", "lx", "px", "auto", "double",
    "single", "canvasrule", "x_mm", "x_in",
))  # fmt: skip
"""Units, names and what is typed into job.toml: the same in every language."""
_ASKS = frozenset((
    "compile", "match", "fullmatch", "search", "sub", "split", "rsplit", "partition",
    "rpartition", "startswith", "endswith", "removeprefix", "removesuffix", "encode", "decode",
    "get", "pop", "setdefault", "strip", "rstrip", "lstrip", "find", "getattr", "hasattr",
    "setattr", "open", "joinpath", "glob", "rglob", "import_module", "Literal", "TypeVar",
    "execute", "executemany", "executescript", "add_argument", "add_parser", "add_subparsers",
    "ArgumentParser", "cast", "add_mutually_exclusive_group", "with_suffix", "with_name",
    "files", "namedtuple", "write_text", "read_text", "strftime", "strptime", "index", "count",
    "checks", "_execute", "AssertionError", "RuntimeError", "TypeError", "KeyError",
))  # fmt: skip
"""Calls whose strings a program reads."""

_OF_HELP = frozenset(("VERBS", "KINDS"))
"""Tables of the terminal's own help."""


class Text(NamedTuple):
    """One text, and where it stands."""

    words: str
    where: str


def texts_of(source: str, where: str, *, raised_only: bool = False) -> list[Text]:
    """The texts of one module, in order; of a maker of sheets only what it raises and notes."""
    tree = ast.parse(source)
    found = _Texts(tree, raised_only=raised_only)
    found.visit(tree)
    return [Text(words, f"{where}:{line}") for line, words in sorted(found.texts)]


class _Texts(ast.NodeVisitor):
    def __init__(self, tree: ast.Module, *, raised_only: bool) -> None:
        self.texts: set[tuple[int, str]] = set()
        self._raised_only = raised_only
        self._told = 0
        self._in_template = 0
        self._epilogs = {
            name.id
            for node in ast.walk(tree)
            if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]).endswith(".epilog")
            for name in ast.walk(node.value)
            if isinstance(name, ast.Name)
        }
        self._tables = {
            target.id: node.value
            for node in tree.body
            if isinstance(node, ast.Assign | ast.AnnAssign) and isinstance(node.value, ast.Dict)
            for target in (node.targets if isinstance(node, ast.Assign) else [node.target])
            if isinstance(target, ast.Name)
        }
        # Names that an f-string puts in: what is assigned to them is a text, be it one word.
        self._put_in = {
            name.id
            for node in ast.walk(tree)
            if isinstance(node, ast.FormattedValue)
            for name in ast.walk(node.value)
            if isinstance(name, ast.Name)
        }

    # What no person reads.

    def visit_Expr(self, node: ast.Expr) -> None:
        if not isinstance(node.value, ast.Constant):
            self.visit(node.value)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        if node.name != "add_options":
            for one in (*node.body, *node.args.defaults, *node.args.kw_defaults):
                if one is not None:
                    self.visit(one)

    def visit_AsyncFunctionDef(self, node: ast.AsyncFunctionDef) -> None:
        for one in node.body:
            self.visit(one)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        if "Annotated" in ast.unparse(node.annotation):
            self.visit(node.annotation)
        if node.value is not None:
            self._assigned([node.target], node.value)

    def visit_Assign(self, node: ast.Assign) -> None:
        self._assigned(node.targets, node.value)

    def _assigned(self, targets: list[ast.expr], value: ast.expr) -> None:
        names = {
            one.id for target in targets for one in ast.walk(target) if isinstance(one, ast.Name)
        }
        if names & (self._epilogs | _OF_HELP) or any(
            ast.unparse(one).endswith(".epilog") for one in targets
        ):
            return
        if names & self._put_in:
            self._words_of(value)
        self._told += "notes" in names
        self.visit(value)
        self._told -= "notes" in names

    def visit_Subscript(self, node: ast.Subscript) -> None:
        if "Annotated" in ast.unparse(node.value):
            self.visit(node.slice)
        else:
            self.visit(node.value)
            if not isinstance(node.slice, ast.Constant):
                self.visit(node.slice)

    def visit_Compare(self, node: ast.Compare) -> None:
        for one in (node.left, *node.comparators):
            if not isinstance(one, ast.Constant | ast.Tuple | ast.List | ast.Set):
                self.visit(one)

    def visit_Dict(self, node: ast.Dict) -> None:
        for value in node.values:
            self.visit(value)

    def visit_MatchValue(self, node: ast.MatchValue) -> None:
        pass

    def visit_Assert(self, node: ast.Assert) -> None:
        pass

    def visit_Call(self, node: ast.Call) -> None:
        name = _called(node)
        if isinstance(node.func, ast.Attribute) and not isinstance(node.func.value, ast.Constant):
            self.visit(node.func.value)
        if name == "counted" and isinstance(node.args[1], ast.Constant):
            self.visit(node.args[0])
            self._add(node, f"{{0}} {node.args[1].value}")
            self._add(node, f"{{0}} {node.args[1].value}s")
            return
        tells = name.endswith("Error") or name in ("say", "ValueError", "Printed")
        self._told += tells
        for one in (*node.args, *(word.value for word in node.keywords)):
            if not (self._is_asked(node, one) and isinstance(one, ast.Constant | ast.JoinedStr)):
                self.visit(one)
        self._told -= tells

    def _is_asked(self, node: ast.Call, one: ast.expr) -> bool:
        """Whether a program alone reads this argument of a call."""
        name = _called(node)
        if name in ("get", "pop", "setdefault"):
            return one is node.args[0]
        return name in _ASKS or (name == "replace" and isinstance(node.func, ast.Attribute))

    def visit_Raise(self, node: ast.Raise) -> None:
        self._told += 1
        if node.exc is not None:
            self.visit(node.exc)
        self._told -= 1

    # What one does.

    def visit_Constant(self, node: ast.Constant) -> None:
        if isinstance(node.value, str):
            self._add(node, _escaped(node.value))

    def visit_JoinedStr(self, node: ast.JoinedStr) -> None:
        words = _spelled_out(node)
        if words is None:
            words = [_template(node)]
            for place in ast.walk(node):
                if isinstance(place, ast.FormattedValue):
                    self._words_of(place.value)
        for one in words:
            self._add(node, one)
        for place in node.values:
            if isinstance(place, ast.FormattedValue) and not _choices(place.value):
                self._words_of(place.value)
                self.visit(place.value)

    def _words_of(self, node: ast.expr) -> None:
        """Single words that an expression may give: branches, values of a table, words of calls."""
        if isinstance(node, ast.Subscript) and isinstance(node.value, ast.Name):
            node = self._tables.get(node.value.id, node)
        for one in _given(node):
            word = one.value
            if _PLAIN_WORD.fullmatch(word) and word not in SAME and "canvasrule" not in word:
                self._keep(one, word)

    def _add(self, node: ast.expr, words: str) -> None:
        # Indents and line ends are the page's own affair.
        for line in words.split("\n"):
            text = bare(line)
            if _is_text(text):
                self._keep(node, text)

    def _keep(self, node: ast.expr, words: str) -> None:
        if self._told or not self._raised_only:
            self.texts.add((node.lineno, words))


def bare(words: str) -> str:
    """A text without what joins it to the one before and after it."""
    return words.strip().lstrip(",;: ").rstrip(",;: ").removeprefix(". ").strip()


def _is_text(words: str) -> bool:
    literal = _PLACE.sub(" ", words)
    said = [word for word in _WORD.findall(_KEY.sub(" ", literal)) if word not in SAME]
    if not said or _NO_TEXT.search(words):
        return bool(_ONE_WORD.fullmatch(words))
    return bool(re.search(r"\s", words)) or bool(_ONE_WORD.fullmatch(words))


def _choices(node: ast.expr) -> list[str]:
    """The strings that a place chooses between; none where it is no such choice."""
    if isinstance(node, ast.IfExp):
        both = [_choices(node.body), _choices(node.orelse)]
        return [*both[0], *both[1]] if all(both) else []
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return [_escaped(node.value)]
    if isinstance(node, ast.JoinedStr):
        return _spelled_out(node, numbered=False) or []
    return []


def _spelled_out(node: ast.JoinedStr, *, numbered: bool = True) -> list[str] | None:
    """Every template that an f-string may give; None where they are too many."""
    parts = [
        _literal(one) if isinstance(one, ast.Constant)
        else _choices(one.value) or ["\0"]
        for one in node.values
        if isinstance(one, ast.Constant | ast.FormattedValue)
    ]  # fmt: skip
    count = 1
    for part in parts:
        count *= len(part)
    if count > MOST_VARIANTS:
        return None
    given = ["".join(some) for some in itertools.product(*parts)]
    return [_numbered(one) for one in given] if numbered else given


def _literal(node: ast.Constant) -> list[str]:
    return [_escaped(str(node.value))]


def _escaped(words: str) -> str:
    """Braces doubled, but for a name in them: a place of its own, filled later."""
    if _NAMED.search(words):
        return words
    return words.replace("{", "{{").replace("}", "}}")


def _template(node: ast.JoinedStr) -> str:
    return _numbered("".join(
        _literal(one)[0] if isinstance(one, ast.Constant) else "\0" for one in node.values
    ))  # fmt: skip


def _numbered(words: str) -> str:
    at = itertools.count()
    return re.sub("\0", lambda _: f"{{{next(at)}}}", words)


def _given(node: ast.expr) -> Iterator[ast.Constant]:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node
    elif isinstance(node, ast.IfExp):
        yield from _of((node.body, node.orelse))
    elif isinstance(node, ast.BoolOp | ast.Dict):
        yield from _of(node.values)
    elif isinstance(node, ast.Tuple | ast.List):
        yield from _of(node.elts)
    elif isinstance(node, ast.Subscript):
        yield from _given(node.value)
    elif isinstance(node, ast.Call) and _called(node) not in {*_ASKS, "counted"}:
        yield from _of(node.args)


def _called(node: ast.Call) -> str:
    return ast.unparse(node.func).rpartition(".")[2]


def _of(nodes: Iterable[ast.expr]) -> Iterator[ast.Constant]:
    for one in nodes:
        yield from _given(one)
