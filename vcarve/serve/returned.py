"""What comes back from the mill: a program that broke off, of which the rest is made, and widths that say what the bit is.

It is made by what ``mizo resume``, ``mizo dry-run`` and ``mizo fit`` call; here is what the page is told, as plain JSON values.
"""

from __future__ import annotations

import base64
import os
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from vcarve.coupon.fit import Fit, fit_widths
from vcarve.coupon.table import Widths
from vcarve.errors import InputError
from vcarve.job.document import parse_document
from vcarve.job.record import record_from
from vcarve.layout.stages import Layout
from vcarve.proofing import Taken, carve_piece, check_program, machine_for, plain_program
from vcarve.quantity import format_duration
from vcarve.report import dry_run_rows
from vcarve.resume import Rest, at_line, broken_off, rest_of, rest_rows
from vcarve.run import DryRun
from vcarve.serve.edit import edited, read
from vcarve.serve.form import form
from vcarve.serve.look import problem_told, written
from vcarve.serve.told import Told, judged
from vcarve.view.fit import bit_line, fit_cautions, fit_rows, fit_svg, holds

UNSEEN = "Judged by its text alone: lines, depths, piece and clamps were not looked at."
ALONE = f"{UNSEEN} There is no job on this page whose numbers are right."
OTHER = f"{UNSEEN} It does not fit the job on this page."
# Widths in a line are apart by a semicolon or a comma and a blank; where each has its point, by a comma or a blank alone.
_APART = re.compile(r"\s*;\s*|,\s+")
_POINTED = re.compile(r"""(\.\d+(?:\s*[A-Za-z]+|\s*["″])?)(?:,|\s+)(?=\d*\.\d)""")
_UNIT = re.compile(r"""[A-Za-zμ"'″”“].*""")


def rested(data: bytes, name: str, told: str, where: str, *, folder: str, layout: Layout | None) -> Told:
    """Return what the page is told of the rest of a program that broke off ``where`` it is ``told`` (see ``resume.BREAKS``).

    The dry run judges the rest by the job on the page, where that is right and the program's own.  Raises InputError for what is
    no program or no place in it, and RefusedError, as ``mizo resume`` does.
    """
    find = broken_off(told, where)
    taken = machine_for(None, plain_program(data, name), os.path.join(folder, name))
    if taken.assumed and layout is not None:
        taken = Taken(layout.job.machine, f"{layout.job.machine.name}, the one of this page's job")
    run = check_program(data, file=name, machine=taken.machine, assumed=taken.assumed)
    rest = rest_of(run, find(run), text=data, name=name, assumed=taken.assumed)
    judge, why = _judge(rest, data, name, layout)
    path, after_s = Path(name), float(run.times.start_s[at_line(run, rest.line)])
    return {
        "name": f"{path.stem}-rest{path.suffix or '.nc'}",
        "program": base64.b64encode(rest.text).decode(),
        "refused": judge.refused,
        "places": {"--pass": str(rest.first), "--line": str(rest.line), "--after": format_duration(after_s)},
        "facts": rest_rows(rest, taken.how.partition(";")[0]),
        "run": [row for row in dry_run_rows(judge) if row[0] not in ("time", "")],
        "alone": why,
        **judged([one for one in judge.findings if one.code != "no-job"]),
    }


def _judge(rest: Rest, data: bytes, name: str, layout: Layout | None) -> tuple[DryRun, str]:
    """Return the dry run that a rest is judged by, and why it is without the job on the page, where it is."""
    if layout is None:
        return rest.run, ALONE
    try:
        run = check_program(rest.text, layout, file="the rest", rest_of=(name, data))
    except InputError as error:  # not read for the job's controller
        return rest.run, f"{OTHER} {error.problems[0]}"
    if other := next((one for one in run.findings if one.code == "other-job"), None):
        return rest.run, f"{OTHER} {other.sentence}"
    return carve_piece(run), ""


def fitted(text: str, edits: Sequence[Mapping[str, Any]]) -> Told:
    """Change keys of a table of widths, and say what it says of the bit.

    Each edit is ``{"path", "value"}``; widths of a groove may be one text.  Returns the new ``text``, what is ``written`` in it,
    the ``problems``, the ``fit``, which is ``None`` where there are problems, and the ``keys`` of a table (see ``serve.form``).
    """
    told: Told = {"text": text, "written": {}, "problems": [], "fit": None, "keys": form(Widths)}
    try:
        for one in edits:
            value = one["value"]
            if isinstance(value, str) and str(one["path"]).endswith(".widths"):
                value = several(value)
            told["text"] = edited(told["text"], one["path"], value)
        document = read(told["text"])
        told["written"] = dict(written(document.tree, ()))
        told["fit"] = _fit(fit_widths(record_from(document, Widths)))
    except InputError as error:
        told["problems"] = [problem_told(one) for one in error.problems]
    return told


def several(typed: str) -> list[str]:
    """Return the lengths in a line, apart as ``_APART`` says; a unit behind the last alone is that of all."""
    parts = [part for part in _APART.split(_POINTED.sub(r"\1;", typed.strip())) if part]
    units = [_UNIT.search(part) for part in parts]
    if parts and (last := units[-1]) and not any(units[:-1]):
        parts[:-1] = [f"{part} {last[0]}" for part in parts[:-1]]
    return parts


def _fit(fit: Fit) -> Told:
    line = bit_line(fit.bit, fit.table.figures, fit.spread)
    return {
        "rows": fit_rows(fit),
        "cautions": list(fit_cautions(fit)),
        "picture": fit_svg(fit, inline=True),
        "line": line,
        "bit": parse_document(line.encode()).tree["bit"],
        "holds": holds(fit),
    }
