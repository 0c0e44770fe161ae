"""What the page is told of a job's text, as plain JSON values: at once what lies on the piece, a moment later its program.

Nothing here is kept but what the stages of the layout keep: the text is the whole job.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from vcarve.errors import InputError, Problem
from vcarve.groove.width import HEIGHT_ERROR_MM, sensitivity
from vcarve.job.document import KeyPath, dotted
from vcarve.job.fields import BLANK
from vcarve.job.panel import Panel, kind_in
from vcarve.job.record import record_from
from vcarve.job.records import Job
from vcarve.layout.findings import job_findings
from vcarve.layout.stages import Kept, Layout, lay_out
from vcarve.quantity import counted, format_duration
from vcarve.run import Made
from vcarve.serve.edit import edited, read
from vcarve.serve.panels import panel_look
from vcarve.serve.told import Told, judged, used_of
from vcarve.view.facts import GROOVE, PLAN, PROGRAM, STOCK, TOOL, chosen, facts, land_words, width_words
from vcarve.view.page import places_payload, program_payload, stage_payload
from vcarve.view.section import section_svg
from vcarve.view.sheet import rows
from vcarve.view.speeds import speeds_told


def looked(text: str, edits: Sequence[Mapping[str, Any]], *, folder: str, kept: Kept | None) -> Told:
    """Change keys of a job's text, each ``{"path", "value"}``, and say all there is to see of the job before it is planned.

    Returns the new ``text``, its ``kind`` (a job or a panel; none where it cannot be read), what is ``written`` in it (by key
    path), the ``problems`` (see ``problem_told``) and the ``look``, which is ``None`` where there are problems, and without
    ``kept``.  Paths in the text are looked up in ``folder``.
    """
    told: Told = {"text": text, "kind": None, "written": {}, "problems": [], "look": None}
    try:
        told["kind"] = kind_in(read(told["text"]).tree)
        for one in edits:
            told["text"] = edited(told["text"], one["path"], one["value"])
        if kept is None:  # another change follows, and nobody will see this one
            return told
        document = replace(read(told["text"]), folder=folder)
        told["written"] = dict(written(document.tree, ()))
        told["kind"] = kind_in(document.tree)
        if told["kind"] == "panel":
            told["look"] = panel_look(record_from(document, Panel), kept)
        else:
            told["look"] = _look(lay_out(record_from(document, Job), kept))
    except InputError as error:
        told["problems"] = [problem_told(one) for one in error.problems]
    return told


def job_of(text: str, folder: str) -> Job:
    """Return the job that a text says; raises ``InputError`` with everything that is wrong in it."""
    return record_from(replace(read(text), folder=folder), Job)


def problem_told(one: Problem) -> Told:
    """Return a wrong value: its ``path`` (of a file that the job names: none), ``line``, ``value`` and what is wanted."""
    if one.file is not None:
        return {"path": None, "line": None, "value": None, "want": str(one)}
    return {"path": one.key, "line": one.line, "value": one.value, "want": one.want}


def written(node: Any, path: KeyPath) -> Iterator[tuple[str, str]]:
    """Yield each single value of a document with its key path."""
    inner: Iterable[tuple[Any, Any]] = ()
    match node:
        case dict():
            inner = node.items()
        case list():
            inner = enumerate(node)
        case _:
            yield dotted(path), "" if node is BLANK else node
    for key, value in inner:
        yield from written(value, (*path, key))


def _look(layout: Layout) -> Told:
    job, found, known = layout.job, job_findings(layout), list(facts(layout))
    return {
        "title": job.name,
        "edges": layout.network.edges,
        "stage": stage_payload(layout, found),
        **judged(found),
        "facts": {
            name: chosen(known, part) for name, part in (("stock", STOCK), ("tool", TOOL), ("groove", GROOVE))
        }
        | {"speeds": speeds_told(job)},
        "answers": list(_answers(layout)),
        "section": section_svg(job, layout.kinds),
        "used": used_of(layout),
    }


def _answers(layout: Layout) -> Iterator[tuple[str, str, str]]:
    """Yield the few figures that matter where numbers are tried: a label, the figure, and what else belongs to it."""
    length = layout.job.figures.length
    for name, deep, wide in layout.kinds:
        yield f"Groove, {name}", f"{width_words(layout.job, deep, wide)} wide", f"{length(deep)} deep"
    narrowest, keep = land_words(layout)
    yield ("Narrowest land", narrowest, keep) if narrowest else ("Land", "none", keep)
    more_mm = sensitivity(layout.job.bit, layout.deepest_mm) * HEIGHT_ERROR_MM
    yield f"{length(HEIGHT_ERROR_MM)} in height", f"± {length(more_mm)}", "of width"


def planned(made: Made, name: str) -> Told:
    """Return what the page is told of a program just made: its text, what it takes, its proof, and all to play it.

    Its ``stage`` lies over that of the look at the same text.
    """
    proof, told, findings = made.plan.proof, rows(made), made.told
    share = f"{proof.above_bound * 100.0:.1f} % above the least possible" if proof.bound_s else ""
    time, passes = format_duration(made.times.total_s), counted(made.plan.passes, "pass", "passes")
    return {
        "program": made.text,
        "name": name,
        "refused": made.refused,
        **judged(findings),
        "facts": {"program": told[PROGRAM], "plan": told[PLAN]},
        "answers": [("Time", time, share), ("Passes", passes, counted(made.plan.lifts, "lift"))],
        "sentences": list(made.sentences),
        "stage": {"findings": places_payload(findings)} | program_payload(made),
    }
