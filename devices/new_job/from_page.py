"""A job made again from a keep page that was typed or scanned."""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.job import Job
from devices.new_job.folder import make_folder, new_path
from marking.input.text import read_text
from marking.keep.kept_job import layout_kept, made_again
from marking.keep.lines import read_lines
from marking.layout.layout import lay_out
from marking.record.record import layout_hash

if TYPE_CHECKING:
    from pathlib import Path

    from marking.keep.kept_job import KeptJob


def make_from_page(folder: Path, page: Path) -> tuple[KeptJob, bool]:
    """Makes the job that a page's text holds: what was read, and whether it is the same marking.

    Raises BadInputError where the text or the job is not whole; nothing is written then.
    """
    new_path(folder)
    label = str(page)
    kept = read_lines(read_text(page, label, "text of a keep page"), label)
    job = made_again(kept, Job, label)
    same = layout_kept(kept, layout_hash(lay_out(job)))
    about = f"# Made again from a keep page of canvasrule {kept.version}.\n"
    make_folder(folder, {name: (about + text).encode() for name, text in kept.files.items()})
    return kept, same
