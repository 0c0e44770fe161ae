"""Job, machine, bit and wood: found by name or path, read, checked and filled in."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import cache
from os import PathLike, fspath
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel

import vcarve
from vcarve.errors import InputError, Problem
from vcarve.job import defaults
from vcarve.job.bench import Bit, Machine, Wood
from vcarve.job.document import STDIN_NAME, Document, KeyPath, document_of, in_order, read_document
from vcarve.job.record import Record, record_from, unknown_name
from vcarve.job.records import Job, JobFile, Zero
from vcarve.quantity import format_mm

_PACKAGE = Path(vcarve.__file__).parent
_DATA = _PACKAGE / "job" / "data"
_SUFFIXES = (".yaml", ".yml")
_BY_PATH = " (a file of your own is given by its path, ending in .yaml)"

_Named = TypeVar("_Named", bound=BaseModel)


# --- what comes with Mizo ---


def machines_folder() -> Path:
    """Return where the machine files are: inside the installed package, or beside it in a source checkout."""
    inside = _PACKAGE / "machines"
    return inside if inside.is_dir() else _PACKAGE.parent / "machines"


@cache
def machine_names() -> tuple[str, ...]:
    """Return the names of the machines that come with Mizo, sorted."""
    return tuple(sorted(path.stem for path in machines_folder().glob("*.yaml")))


@cache
def pattern_names() -> tuple[str, ...]:
    """Return the names of the patterns that come with Mizo, sorted: those of their files, which this room does not read."""
    return tuple(sorted(path.stem for path in (_PACKAGE / "pattern" / "data").glob("*.yaml")))


def check_pattern(name: str) -> None:
    """Raise ``InputError`` for a pattern that does not come with Mizo; a path, which ends in .yaml, is taken on trust."""
    spelled = "-".join(name.lower().replace("_", " ").replace("-", " ").split())
    if spelled not in pattern_names() and not name.lower().endswith(_SUFFIXES):
        raise _unknown("pattern", name, dict.fromkeys(pattern_names(), ""), _BY_PATH)


@cache
def machines() -> tuple[Machine, ...]:
    """Return the machines that come with Mizo, by name."""
    return tuple(load_machine(name) for name in machine_names())


@cache
def bits() -> tuple[Bit, ...]:
    """Return the bits that come with Mizo, in the order of their file."""
    return _table("bits.yaml", Bit)


@cache
def woods() -> tuple[Wood, ...]:
    """Return the woods that come with Mizo, in the order of their file."""
    return _table("woods.yaml", Wood)


def _table(name: str, kind: type[_Named]) -> tuple[_Named, ...]:
    """Read a mapping from names to records."""
    document = read_document(str(_DATA / name))
    return tuple(
        record_from(Document(file=name, folder=".", tree={"name": key, **row}), kind)
        for key, row in document.tree.items()
    )


# --- by name or path ---


def load_bit(name: str) -> Bit:
    """Find a bit by its name; raises ``InputError`` with the nearest name."""
    return _named("bit", name, {str(bit.name): bit for bit in bits()})


def load_wood(name: str) -> Wood:
    """Find a wood by its name; raises ``InputError`` with the names that match, or the nearest one."""
    own = " (a wood of your own is given by its figures: 'mizo new' shows how)"
    return _named("wood", name, {wood.name: wood for wood in woods()}, own)


def _named(what: str, name: str, known: Mapping[str, _Named], own: str = "") -> _Named:
    if name not in known:
        raise _unknown(what, name, {key: getattr(one, "title", "") for key, one in known.items()}, own)
    return known[name]


def machine_path(name: str, folder: str = ".") -> str | None:
    """Return the file of a machine, one that comes with Mizo or one named by its path; ``None`` for an unknown name."""
    if name in machine_names():
        return str(machines_folder() / f"{name}.yaml")
    own = name.lower().endswith(_SUFFIXES) or "/" in name or "\\" in name
    return str(Path(folder) / name) if own else None


def load_machine(name: str, folder: str = ".") -> Machine:
    """Read a machine that comes with Mizo, or a YAML file by its path, looked up from ``folder``.

    A machine of one's own is called after its file: a copy of one that comes with Mizo is no longer that one.  Raises
    ``InputError`` with every problem of the file, or with the nearest name.
    """
    path = machine_path(name, folder)
    if path is None:
        raise _unknown("machine", name, dict.fromkeys(machine_names(), ""), _BY_PATH)
    machine = record_from(read_document(path), Machine)
    return machine if name in machine_names() else machine.model_copy(update={"name": Path(path).name})


def _unknown(what: str, name: str, known: Mapping[str, str], own: str = "") -> InputError:
    """Return the answer to an unknown name; ``known`` as for ``unknown_name``, ``own`` says how to give one of your own."""
    return InputError(Problem(value=name, want=unknown_name(what, name, known) + own))


# --- jobs ---


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
        return job_of(document_of(source, folder=folder, sets=sets))
    return job_of(read_document(fspath(source), sets))


def job_of(document: Document) -> Job:
    """Read a job, look up the names in it and fill in every default; raises ``InputError`` with every problem found."""
    found, problems = _look_up(document)
    try:
        job = record_from(document, JobFile)
    except InputError as error:
        raise InputError(in_order([*error.problems, *problems])) from None
    machine = found.get("machine")
    if isinstance(machine, Machine) and (job.plan.hop_mm or 0.0) > machine.safe_height_mm:
        safe = format_mm(machine.safe_height_mm)
        problems.append(
            document.problem(("plan", "hop"), f"must be at most the machine's safe height, {safe}")
        )
    if problems:
        raise InputError(in_order(problems))
    wood = job.piece.wood if isinstance(job.piece.wood, Wood) else found["wood"]
    bit = job.bit if isinstance(job.bit, Bit) else found["bit"]
    assert isinstance(wood, Wood)
    assert isinstance(bit, Bit)
    assert isinstance(machine, Machine)
    speeds = defaults.speeds(job.feed, wood, bit, machine)
    # Where nothing is cut at the groove's own depth, the deepest of the others stands for it.
    deepest_mm = max(job.pattern.depths.values(), default=0.0)
    ground_mm, leaf_mm = job.groove.depths_mm or (deepest_mm, deepest_mm)
    return Job(
        title=job.title,
        units=job.units or machine.units,
        piece=job.piece,
        wood=wood,
        pattern=job.pattern,
        ground_mm=ground_mm,
        leaf_mm=leaf_mm,
        step_mm=job.groove.step_mm or defaults.usual_step_mm(wood, machine),
        taper_mm=job.groove.taper_mm or 0.0,
        bit=bit,
        machine=machine,
        cut_mm_min=speeds.cut_mm_min,
        plunge_mm_min=speeds.plunge_mm_min,
        spindle_rpm=speeds.spindle_rpm,
        zero=Zero.model_validate(dict(job.zero) | {"xy": job.zero.xy or defaults.zero_xy(job.piece.outline)}),
        recut=job.plan.recut,
        hop_mm=defaults.hop_mm(machine, job.plan.hop_mm, job.clamps),
        clamps=job.clamps,
        lost_land=job.groove.lost_land,
        folder=document.folder,
        document=document,
        files=tuple(_files(job, document)),
    )


def _files(job: JobFile, document: Document) -> Iterator[str]:
    """Return the path of every file that is read for a job: its own, its machine's, its pattern's, its drawings'."""
    if document.file not in (None, STDIN_NAME):
        yield str(document.file)
    if machine := machine_path(job.machine, document.folder):
        yield machine
    own = job.pattern.name if (job.pattern.name or "").lower().endswith(_SUFFIXES) else None
    for name in (own, job.pattern.drawing, job.piece.outline.file):
        if name:
            yield str(Path(document.folder) / name)


def _look_up(document: Document) -> tuple[dict[str, Record | None], list[Problem]]:
    """Look up the names in a job's document, right or wrong as it is; return what was found by last key, and the problems."""
    finders: dict[KeyPath, Callable[[str], Record | None]] = {
        ("piece", "wood"): load_wood,
        ("pattern", "name"): check_pattern,
        ("bit",): load_bit,
        ("machine",): lambda name: load_machine(name, document.folder),
    }
    found: dict[str, Record | None] = {}
    problems: list[Problem] = []
    for path, find in finders.items():
        name = document.written(path)
        if name is None:  # missing, spelled out, or wrong
            continue
        try:
            found[str(path[-1])] = find(name.strip())
        except InputError as error:
            for one in error.problems:
                inside = one.key is not None or one.line is not None  # a place in the machine's own file
                problems.append(one if inside else document.problem(path, one.want))
    return found, problems
