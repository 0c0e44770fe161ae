"""V-groove engraving of geometric lattice patterns: from a few numbers to a program for a small mill.

The way data flows, and the words used throughout the code:

``job -> pattern or drawing -> network -> groove -> cuts -> plan -> program (text)
-> moves (read back) -> checks, surface, clock``

piece     the stock to be engraved: outline, thickness, wood
pattern   lines repeated over a lattice by a symmetry group; *ground* lines are the base grid, *leaf* lines the infill
drawing   lines of one's own, from an SVG or DXF file, in layers
pitch     the length on the piece of the pattern file's unit
field     where on the piece lines may lie: what the margin leaves of it
cell      a closed region bounded by lines
network   the planar graph of all lines: vertices, unique edges, cells; a line's *feature* is what it is for
layout    what lies on the piece: field, lines, network, grooves
groove    what the bit leaves along an edge: its depth and width at both ends
land      the flat surface left between grooves
cuts      everything to be cut, each exactly once: places (x, y, depth) joined by lines and arcs, and what must come before what
level     as much of every groove as is cut before any goes deeper
pass      a run of cuts without lifting
coupon    grooves at stepped depths in an off-cut, cut to be measured
lift      retract, rapid, plunge between two passes
recut     travelling along what is already cut instead of lifting
mount     how places on the piece become the machine's axes
program   the RS-274 text; *moves* are what a reader of that text alone believes
dry run   reading the program back, checking it, carving it virtually, timing it

Lengths are millimetres, angles degrees and times seconds unless a name says otherwise.

For scripts: what ``dir(vcarve)`` names is loaded when it is used.  ``load_job``, ``lay_out``, ``plan_program`` and
``write_program`` lead from a job to its program; ``read_program``, ``check_program`` and ``carve_piece`` from any program's text
to its dry run; ``draw`` shows what they return, and ``patterns`` lists what a job can name.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from vcarve.drawn import draw
    from vcarve.errors import Finding, InputError, InternalError, MizoError, Problem, RefusedError
    from vcarve.job.records import Job, load_job
    from vcarve.layout.stages import Layout, lay_out
    from vcarve.pattern.model import Pattern, patterns
    from vcarve.pipeline import plan_program, write_program
    from vcarve.program.reader import Reading, read_program
    from vcarve.proofing import carve_piece, check_program
    from vcarve.run import DryRun, Made

__version__ = "0.1.0"

_HOMES = {
    "drawn": ("draw",),
    "errors": ("Finding", "InputError", "InternalError", "MizoError", "Problem", "RefusedError"),
    "job.records": ("Job", "load_job"),
    "layout.stages": ("Layout", "lay_out"),
    "pattern.model": ("Pattern", "patterns"),
    "pipeline": ("plan_program", "write_program"),
    "program.reader": ("Reading", "read_program"),
    "proofing": ("carve_piece", "check_program"),
    "run": ("DryRun", "Made"),
}
_HOME = {name: module for module, names in _HOMES.items() for name in names}
# What ``help(vcarve)`` describes, written out for type checkers.
__all__ = [
    "DryRun", "Finding", "InputError", "InternalError", "Job", "Layout", "Made", "MizoError", "Pattern", "Problem", "Reading",
    "RefusedError", "carve_piece", "check_program", "draw", "lay_out", "load_job", "patterns", "plan_program", "read_program",
    "write_program",
]  # fmt: skip


if not TYPE_CHECKING:  # types stand above: no other name is offered

    def __getattr__(name: str) -> object:
        """Load what is offered by a name when it is used first."""
        if name not in _HOME:
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        from importlib import import_module

        return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)


def __dir__() -> list[str]:
    """Name what is offered."""
    return sorted(["__version__", *__all__])
