"""A job, from its file or from a dict."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from os import PathLike, fspath
from typing import Any

from vcarve.job.document import document_of, read_document
from vcarve.job.record import record_from
from vcarve.job.records import Job


def load_job(
    source: str | PathLike[str] | Mapping[str, Any], sets: Iterable[str] = (), *, folder: str = "."
) -> Job:
    """Return a job from the path of its file, or from a dict of the same keys and values, with every name looked up.

    Values are numbers (mm, degrees, mm/min, rpm) or text with a unit.  Each of ``sets`` changes one key, as ``--set`` does.
    Paths inside a job are looked up from its file's folder, inside a dict from ``folder``.  Raises ``InputError`` with every
    problem and its key path; of a file with the line as well.

    >>> vcarve.load_job("tile.yaml", ["groove.depth=1/32 in"]).ground_mm
    0.79375
    >>> job = {
    ...     "piece": {"width": 60, "height": "2 in", "thickness": 8, "wood": "cherry-black"},
    ...     "pattern": {"name": "asanoha", "pitch": "about 18 mm"},
    ...     "groove": {"depth": 0.8},
    ...     "bit": "v60-3.175",
    ...     "machine": "small-desktop",
    ... }
    >>> vcarve.load_job(job).piece.height_mm
    50.8
    >>> vcarve.load_job({**job, "groove": {"depth": -1}})
    Traceback (most recent call last):
    vcarve.errors.InputError: groove.depth: '-1': must be more than 0 mm
    """
    if isinstance(source, Mapping):
        return record_from(document_of(source, folder=folder, sets=sets), Job)
    return record_from(read_document(fspath(source), sets), Job)
