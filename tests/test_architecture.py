"""The rooms of the code: what each package says it may import is what it does import, one way.

The statement stands in each package's `__init__`, where who opens the folder reads it.
"""

from __future__ import annotations

import ast
import re
from collections import Counter
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

from devices.commands import VERBS

ROOT = Path(__file__).parents[1]
FILES = {
    ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): path
    for top in ("marking", "devices")
    for path in sorted((ROOT / top).rglob("*.py"))
}
WHOLE = "devices.commands"
"""The one place where everything meets."""
TOPS = ("marking", "devices")


@cache
def imported(module: str) -> set[str]:
    """Our own modules that a file names in an import, for types and within functions too."""
    found = set()
    for node in ast.walk(ast.parse(FILES[module].read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {
                whole if (whole := f"{node.module}.{alias.name}") in FILES else node.module
                for alias in node.names
            }
    return {name for name in found if name in FILES} - {module}


def package(module: str) -> str:
    """The room a file stands in; one directly in `marking` or `devices` is a room of its own."""
    above = module.rpartition(".")[0]
    is_room = FILES[module].name == "__init__.py" or above in TOPS
    return module if is_room else above


ROOMS = sorted({package(m) for m in FILES if FILES[package(m)].name == "__init__.py"})


def meant(room: str) -> set[str]:
    """What a room's `__init__` says it may import."""
    said = ast.get_docstring(ast.parse(FILES[room].read_text("utf-8"))) or ""
    _, _, listed = said.partition("It may import: ")
    return set(re.findall(r"`([a-z_.]+)`", listed))


def used(room: str) -> set[str]:
    """What the files of a room import from other rooms."""
    return {
        package(name)
        for module in FILES
        if package(module) == room
        for name in imported(module)
        if package(name) != room
    }


@pytest.mark.parametrize("room", [room for room in ROOMS if room not in (*TOPS, WHOLE)])
def test_a_room_imports_what_it_says_and_says_what_it_imports(room):
    assert used(room) == meant(room)


def test_the_marking_knows_no_machine():
    rooms = {
        package(name) for module in FILES if module.startswith("marking") for name in used(module)
    }
    assert not [room for room in rooms if room.startswith("devices")]


def test_the_marking_asks_no_zone_for_its_name():
    """`sections/zones.py` tells by name how each zone comes and inks; others ask it that."""
    names = {"plotter", "reach", "beam", "projector"}
    asked = {
        module
        for module in FILES
        if module.startswith("marking")
        for node in ast.walk(ast.parse(FILES[module].read_text("utf-8")))
        if isinstance(node, ast.Compare | ast.match_case)
        if names & {one.value for one in ast.walk(node) if isinstance(one, ast.Constant)}
    }
    assert not asked


def test_no_function_takes_a_whole_job_for_one_thing_of_it():
    """What it is handed says then what it hangs on."""
    whole = {
        # The record's own check is asked for by whoever has a job.
        "check_kept",
        # Of these the job's own settings and its text.
        "layout_settings",
        "_source",
    }
    found = []
    for module in FILES:
        tree = ast.parse(FILES[module].read_text("utf-8"))
        functions = [one for one in ast.walk(tree) if isinstance(one, ast.FunctionDef)]
        for function in functions if not module.startswith(WHOLE) else ():
            jobs = {
                one.arg
                for one in [*function.args.args, *function.args.kwonlyargs]
                if one.annotation and ast.unparse(one.annotation) in {"Job", "MarkingJob"}
            }
            reads: dict[str, set[str]] = {job: set() for job in jobs}
            named: Counter[str] = Counter()
            for node in ast.walk(function):
                if isinstance(node, ast.Name) and node.id in jobs:
                    named[node.id] += 1
                if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
                    reads.get(node.value.id, set()).add(node.attr)
                    named[node.value.id] -= 1
            alone = [job for job in jobs if len(reads[job]) <= 1 and not named[job]]
            found += [(module, function.name) for _ in alone if function.name not in whole]
    assert not found


def test_a_verb_imports_at_its_top_but_what_draws_and_what_serves():
    """Those take longer than all else, and not every call draws or serves; why, is said there."""
    late = re.compile(
        r"asyncio$|marking\.drawing\.|marking\.output\.\w+|devices\.output\.drawings$"
        r"|devices\.(bench\.(server|bench_run)|projector\.pages\.\w+|serving\.doorway)$"
    )
    for verb in VERBS:
        path = FILES[f"{WHOLE}.{verb}"]
        lines = path.read_text("utf-8").splitlines()
        tree = ast.parse("\n".join(lines))
        for function in (one for one in ast.walk(tree) if isinstance(one, ast.FunctionDef)):
            inner = [n for n in ast.walk(function) if isinstance(n, ast.Import | ast.ImportFrom)]
            named = [getattr(n, "module", None) or n.names[0].name for n in inner]
            assert not [name for name in named if not late.match(name)], (verb, function.name)
            if inner:
                assert lines[inner[0].lineno - 2].strip().startswith("#"), (verb, function.name)


def test_nothing_imports_the_commands():
    outside = [module for module in FILES if not module.startswith(WHOLE)]
    assert not [module for module in outside if any(n.startswith(WHOLE) for n in imported(module))]


def test_the_simulated_machines_import_nothing_of_the_sender():
    assert used("devices.simulated") <= {"devices.plotter", "marking.drawing", "marking.errors"}


def test_the_types_of_arrays_are_defined_once():
    found = [module for module, path in FILES.items() if "NDArray[" in path.read_text("utf-8")]
    assert found == ["marking.arrays"]


def test_a_class_or_a_type_has_one_meaning():
    """A name that stands in two files would have to be told apart by who reads either."""
    named = re.compile(r"^ *(?:class (\w+)|([A-Z][a-z]\w*)(?:: TypeAlias)? = [A-Za-z]\w*\[)", re.M)
    where: dict[str, list[str]] = {}
    for module, path in FILES.items():
        # The simulated machines import nothing that they could share a name with.
        if not module.startswith("devices.simulated"):
            for one in named.finditer(path.read_text("utf-8")):
                where.setdefault(one[1] or one[2], []).append(module)
    # Names of two files' own may be alike, where neither is known elsewhere.
    known = {name.lstrip("_") for name in where if not name.startswith("_")}
    twice = {name: [*found, *where.get(f"_{name}", ())] for name, found in where.items()}
    assert not {name: found for name, found in twice.items() if name in known and len(found) > 1}


@pytest.mark.parametrize("of", ["files", "rooms"])
def test_imports_run_one_way(of):
    graph: dict[str, set[str]] = {}
    for module in FILES:
        if of == "files":
            graph[module] = imported(module)
        else:
            graph.setdefault(package(module), set()).update(used(package(module)))
    list(TopologicalSorter(graph).static_order())  # CycleError names the circle


def test_no_folder_is_a_pile():
    held = Counter(path.parent.relative_to(ROOT).as_posix() for path in FILES.values())
    held.update(p.parent.relative_to(ROOT).as_posix() for p in (ROOT / "tests").rglob("*.py"))
    # A verb has a file, and what verbs share has three beside the room's own.
    most = dict.fromkeys(TOPS, 10) | {"devices/commands": len(VERBS) + 4}
    assert not {folder: n for folder, n in held.items() if n > most.get(folder, 18)}


def test_no_file_is_too_long_to_read():
    every = [*FILES.values(), *(ROOT / "tests").rglob("*.py")]
    lines = {path.relative_to(ROOT): path.read_text("utf-8").count("\n") for path in every}
    assert not {name: n for name, n in lines.items() if n > 450}
