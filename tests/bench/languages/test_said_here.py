"""What verbs and the machine say of a terminal, on the page that runs them."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import polib
import pytest

from devices.bench.languages.said_here import TALK, said_here
from devices.bench.languages.words import FOLDER
from devices.plotter.correction import RUNS
from devices.session.progress import what_next
from marking.errors import BadInputError
from marking.record.record import open_record
from tests.bench.benches import awaited, small_job, unwatched

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import RunCli

TEXTS = [one.msgid for one in polib.pofile(str(FOLDER / "de.po"))]
OF_A_TERMINAL = re.compile(r"(?<!\w)--[a-z]|canvasrule [a-z]|\.toml\b|^\w+ = |^\[", re.MULTILINE)


@pytest.mark.parametrize(
    "words",
    [
        ("trial",),
        ("trial", "--ink"),
        ("control", "--only-look"),
        ("ways",),
        ("rule", "--done", "3"),
    ],
    ids=" ".join,
)
def test_what_a_verb_prints_speaks_of_no_option_command_or_file_of_a_terminal(
    run_cli: RunCli, tmp_path: Path, words: tuple[str, ...]
) -> None:
    """Those whose words said so, and are shown as they are said."""
    ways = '[ways]\nhave = ["plotter"]\n[hems]\ndepth = "2 in"\nfolds = []\n'
    folder = small_job(tmp_path / "a b", f'{ways}[inking]\ncross_lines = "ruled"\n')
    told = run_cli(*words, "--job", folder)
    assert told.returncode == 0
    said = "\n".join((told.stdout.strip(), told.stderr.strip()))
    assert OF_A_TERMINAL.search(said) is not None
    found = OF_A_TERMINAL.search(said_here(said))
    assert found is None, said_here(said)[found.start() - 40 :]


def test_what_goes_on_is_a_button_of_the_page_and_no_command(tmp_path: Path) -> None:
    with open_record(small_job(tmp_path / "a")) as record:
        again = "canvasrule drive --job a --port COM3 --most 1"
        words = [said_here(one) for one in what_next("r1c1", "interrupted", record, again)]
    assert [one.strip() for one in words] == ["Nothing of r1c1 is inked yet."]
    assert said_here(f"To go on: {again}") == ""


def test_each_phrase_is_one_that_is_said_and_each_label_one_of_the_page() -> None:
    """One that changes where it is said would be of a terminal again."""
    assert [talk for talk in TALK if not any(talk in text for text in TEXTS)] == []
    labels = {one for here in TALK.values() for one in re.findall("“([^”]+)”", here)}
    assert len(labels) > 10
    assert sorted(labels - set(TEXTS)) == []


@pytest.mark.parametrize("kind", ["squared", "squared-corrected", "proved"])
def test_lengths_of_which_none_is_typed_are_asked_for_where_they_are_typed(
    tmp_path: Path, kind: str
) -> None:
    """The verb would speak of the form of a file."""
    job = unwatched(small_job(tmp_path / "a"))
    awaited(job.errand(kind, {}))
    said = job.errands.known[kind]
    assert (said.code, said.said[0][:22]) == (BadInputError.exit_code, "no length is typed yet")
    assert list(said.faults) == ([] if kind == "proved" else list(RUNS))
