"""What can be said in a job, as nodes that a page can make fields of: taken from the records, where every key is described once.

A node has a ``key``, its ``path`` in the job, the ``meaning``, whether it is ``required``, the ``default`` as it would be
written, and a ``kind``: ``section`` (with ``fields``), ``quantity`` and ``whole`` (with ``unit``, ``least``, ``most``, and
``above`` where the least itself is not taken), ``choice`` (with ``words``), ``flag``, ``text``, ``name`` (``of`` says in which
list; with ``fields`` where measures may stand instead), ``list`` (of an ``item``), ``table`` (of an ``item`` under free keys),
``grid`` (rows of names, ``of`` as above).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from vcarve.job.bench import bits, end_mills, machines, woods
from vcarve.job.fields import Reads
from vcarve.job.record import Named, Record, fields_of, section_of
from vcarve.job.records import Job
from vcarve.pattern.model import patterns
from vcarve.quantity import format_number

Node = dict[str, Any]


def form(kind: type[Record] = Job) -> list[Node]:
    """Return a node for each key of a job, or of another file."""
    return _fields(kind, "")


def _fields(kind: type[BaseModel], above: str) -> list[Node]:
    worked_out = kind._worked_out if issubclass(kind, Record) else frozenset()
    return [
        {
            "key": key,
            "path": f"{above}{key}",
            "meaning": info.description,
            "required": info.is_required(),
            "default": None if key in worked_out else _written(info, info.default),
        }
        | _kind(info, f"{above}{key}")
        for key, info in fields_of(kind).items()
    ]


def _kind(info: FieldInfo, path: str) -> Node:
    """Return what is typed, chosen or filled in at a key."""
    marks = list(_marks(info))
    section, name = section_of(info), next((mark for mark in marks if isinstance(mark, Named)), None)
    within = {"fields": _fields(section, f"{path}.")} if section else {}
    words = next((get_args(mark) for mark in marks if get_origin(mark) is Literal), None)
    reads = next((mark for mark in marks if isinstance(mark, Reads)), None)
    origins = [get_origin(mark) for mark in marks]
    if origins.count(tuple) > 1:
        return {"kind": "grid", "of": path}
    if tuple in origins:
        of_words = {"kind": "choice", "words": list(words)} if words and not section else None
        return {"kind": "list", "item": of_words or {"kind": "section", **within}}
    if dict in origins and reads:
        return {"kind": "table", "item": _read(reads)}
    if name is not None and name.listed:
        return {"kind": "name", "of": path, **(within if name.spelled else {})}
    if section:
        return {"kind": "section", **within}
    if words:
        return {"kind": "choice", "words": list(words)}
    return {"kind": "text"} if reads is None else _read(reads)


def _marks(info: FieldInfo) -> Iterator[Any]:
    """Yield everything that an annotation is made of, from the outside in."""
    parts = [info.annotation]
    yield from info.metadata
    for part in parts:
        yield part
        parts += get_args(part)


def _read(reads: Reads) -> Node:
    schema = next(iter(reads.schema.get("anyOf", ())), reads.schema)
    said = reads.schema.get("description", "")
    match schema["type"]:
        case "boolean":
            return {"kind": "flag"}
        case "string":
            return {"kind": "text", "most": schema["maxLength"]}
    node = {"kind": "whole" if schema["type"] == "integer" else "quantity", "unit": reads.unit, "said": said}
    bounds = {"least": schema.get("minimum", schema.get("exclusiveMinimum")), "most": schema.get("maximum")}
    node |= {word: bound for word, bound in bounds.items() if bound is not None}
    return node | {"above": True} if "exclusiveMinimum" in schema else node


def _written(info: FieldInfo, value: Any) -> str | None:
    """Return a value of a field as it would be written; ``None`` for none, and for sections and lists."""
    match value:
        case bool(value):
            return str(value).lower()
        case int(value) | float(value):
            unit = next((mark.unit for mark in _marks(info) if isinstance(mark, Reads)), "")
            return f"{format_number(value, 6)} {unit.replace('degrees', 'deg')}".strip()
        case str(value):
            return value or None
    return None


def choices() -> dict[str, list[Node]]:
    """Return what can be chosen by name, under the path of its key; ``thumb`` of a pattern is where its picture is."""
    kept = ("name", "title", "note")
    every_wood = [_told(one, *kept, "tint") | _figures(one) for one in woods()]
    every_pattern = [
        _told(one, "english", "kanji", "family", "note")
        | {
            "name": one.key,
            "title": one.name,
            "lattice": one.lattice.kind,
            "thumb": f"thumb/{one.key}.svg",
            "pitch_mm": list(one.pitch_mm),
        }
        for one in patterns()
    ]
    return {
        **dict.fromkeys(("piece.wood", "panel.frame.wood", "woods", "boards.wood"), every_wood),
        "bit": [_told(one, *kept) | {"title": _measures(one)} | _figures(one) for one in bits()],
        "cut-out.bit": [_told(one, *kept) | _figures(one) for one in end_mills()],
        "machine": [_told(one, *kept) for one in machines()],
        **dict.fromkeys(("pattern.name", "tiles.pattern.name"), every_pattern),
    }


def _told(one: Record, *names: str) -> Node:
    return {name: getattr(one, name) for name in names if getattr(one, name, None)}


def _figures(one: Record) -> dict[str, Node]:
    """Return what a maker's own would begin with: all that is not usual, as it would be written."""
    told = {
        info.alias or name: _written(info, value)
        for name, info in type(one).model_fields.items()
        if name != "name" and (value := getattr(one, name)) != info.default
    }
    return {"figures": {key: text for key, text in told.items() if text}}


def _measures(bit: Any) -> str:
    tip = f", tip {bit.tip_mm:g} mm" if bit.tip_mm else ""
    tip += f", tip rounded to {bit.tip_radius_mm:g} mm" if bit.tip_radius_mm else ""
    return f"{bit.angle_deg:g}° V, {bit.diameter_mm:g} mm across{tip}, {bit.flutes} flutes"
