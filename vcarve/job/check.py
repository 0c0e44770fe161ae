"""From a document to a record: every wrong value becomes a problem with its place and a plain sentence."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, Discriminator, ValidationError

from vcarve.errors import InputError, Problem
from vcarve.job.document import Document, KeyPath, dotted
from vcarve.job.fields import BLANK, TEXT_WANTED
from vcarve.job.meanings import MEANINGS

AnyRecord = TypeVar("AnyRecord", bound=BaseModel)


def record_from(document: Document, kind: type[AnyRecord]) -> AnyRecord:
    """Build a record of ``kind`` from the document's tree; keys are the aliases.

    Raises ``InputError`` with every problem found, in the order of the lines.
    """
    try:
        return kind.model_validate(document.tree, by_alias=True, by_name=False)
    except ValidationError as error:
        problems = [_problem(document, kind, dict(one)) for one in error.errors(include_url=False)]
        raise InputError(in_order(problems)) from None


def in_order(problems: Iterable[Problem]) -> list[Problem]:
    """Sort problems by file and line, overrides of the command line last, each said once."""
    unique = dict.fromkeys(problems)
    return sorted(unique, key=lambda one: (one.line is None, one.file or "", one.line or 0))


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word most like ``word``, or ``None`` when none is much like it."""
    words = {name.casefold(): name for name in known}
    near = difflib.get_close_matches(word.casefold(), words, n=1, cutoff=0.6)
    if near:
        return words[near[0]]
    starts = [name for folded, name in words.items() if len(word) > 1 and folded.startswith(word.casefold())]
    return starts[0] if starts else None


def unknown_name(what: str, word: str, known: Mapping[str, str], command: str) -> str:
    """Say that no ``what`` has this name, with those called that, the nearest one, or the command that lists them.

    ``known`` has for each name what else it is called.
    """
    asked = _words(word)
    called = [name for name, more in known.items() if asked and asked <= _words(f"{name} {more}")]
    if len(called) > 1:
        return f"several {what}s are called that; write one of {', '.join(called)}"
    parts = {part: name for name in known for part in (*name.split("-"), name)}
    near = called[0] if called else parts.get(nearest(word, parts) or "")
    hint = f"did you mean {near!r}?" if near else f"{command!r} lists them"
    return f"unknown {what}; {hint}"


def _words(text: str) -> set[str]:
    return set(re.findall(r"[^\W_]+", text.casefold()))


def keys_of(kind: type[BaseModel]) -> dict[str, Any]:
    """The keys a person may write in a record, with their types."""
    return {info.alias or name: info.annotation for name, info in kind.model_fields.items()}


def _field(section: type[BaseModel], key: str | int) -> str | None:
    """The name of the field that a record has for a key."""
    return next((name for name, info in section.model_fields.items() if (info.alias or name) == key), None)


def _section(annotation: Any) -> type[BaseModel] | None:
    """The record type inside an annotation such as ``tuple[Frame, ...]`` or ``Feed | None``."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for part in get_args(annotation) if (found := _section(part))), None)


def _record_at(kind: type[BaseModel], path: KeyPath) -> type[BaseModel] | None:
    """The type of the record that ``path`` (a section's) leads to."""
    at: type[BaseModel] | None = kind
    for part in path:
        if at is not None and isinstance(part, str):
            at = _section(keys_of(at).get(part))
    return at


def _real_path(tree: Any, location: tuple[str | int, ...], *, last_may_miss: bool) -> KeyPath:
    """Drop the parts pydantic adds for choices between types: those that are no key of the tree."""
    path: list[str | int] = []
    node = tree
    for index, part in enumerate(location):
        last = index == len(location) - 1
        listed = isinstance(node, list) and isinstance(part, int) and part < len(node)
        if listed or (isinstance(node, Mapping) and part in node):
            node = node[part]
        elif not (last and last_may_miss):
            continue
        path.append(part)
    return tuple(path)


def _problem(document: Document, kind: type[BaseModel], error: dict[str, Any]) -> Problem:
    what: str = error["type"]
    place: tuple[str | int, ...] = error["loc"]
    path = _real_path(document.tree, place, last_may_miss=what == "missing" or len(place) == 1)
    context: dict[str, Any] = error.get("ctx", {})
    if what == "rule":
        at: str = context["at"]
        steps = tuple(int(part) if part.isdecimal() else part for part in at.split(".") if part)
        return document.problem(
            (*path, *steps), context["sentence"] + _dropping(document, path, (at, *context["clash"]))
        )
    if what == "quantity":
        return document.problem(path, context["sentence"])
    if what == "missing":
        return document.problem(path, "this key is missing" + _missing_at(kind, path))
    if what == "extra_forbidden":
        return document.problem(path, _unknown_key(kind, path))
    if what == "literal_error":
        return document.problem(path, _one_of(error["input"], context["expected"]))
    if what in ("too_short", "too_long"):
        return document.problem(
            path, "the list needs at least one item" if what == "too_short" else "too many items"
        )
    if what in ("model_type", "model_attributes_type", "dict_type"):
        return document.problem(path, f"a section of keys is wanted; {_wanted_at(kind, path)}")
    if what in ("tuple_type", "list_type"):
        return document.problem(path, "a list is wanted: [a, b], or one item a line after '- '")
    return document.problem(path, "a value of another form is wanted here")


def _dropping(document: Document, section: KeyPath, clash: tuple[str, ...]) -> str:
    """Say how to take out what the file has of keys that clash, where the command line has set another of them."""
    from_file = [key for key in clash if document.place((*section, key)).override is None]
    if len(from_file) in (0, len(clash)):
        return ""
    words = " ".join(f"--set {dotted((*section, key))}=" for key in from_file)
    return f"; {words} takes out what the file says"


def _wanted_at(kind: type[BaseModel], path: KeyPath) -> str:
    """Say in short what belongs at ``path``: the sentence its own type gives for an empty value."""
    section = _record_at(kind, path[:-1])
    key = path[-1] if path else ""
    if section is None or not isinstance(key, str):
        inner = _record_at(kind, path)
        return f"its keys are {', '.join(keys_of(inner))}" if inner else "give it a value"
    inner = _section(keys_of(section).get(key))
    if inner is not None:
        return f"its keys are {', '.join(keys_of(inner))}"
    name = _field(section, key)
    if name is not None:
        try:
            section.__pydantic_validator__.validate_assignment(section.model_construct(), name, BLANK)
        except ValidationError as error:
            said = error.errors(include_url=False)[0].get("ctx", {}).get("sentence")
            if said:
                return str(said).removeprefix("no value given; ")
    return "give it a value"


def _missing_at(kind: type[BaseModel], path: KeyPath) -> str:
    """Say what the missing key means and what belongs there."""
    section = _record_at(kind, path[:-1])
    meaning = MEANINGS.get(section.__name__, {}).get(str(path[-1])) if section else None
    wanted = _wanted_at(kind, path)
    if section is None or meaning is None:
        return f"; {wanted}"
    # Where a value may have one of several forms, the meaning names them.
    marks = section.model_fields[str(_field(section, path[-1]))].metadata
    forms = any(isinstance(mark, Discriminator) for mark in marks)
    return f": {meaning}" if wanted == TEXT_WANTED or forms else f": {meaning}; {wanted}"


def _unknown_key(kind: type[BaseModel], path: KeyPath) -> str:
    section = _record_at(kind, path[:-1])
    known = list(keys_of(section)) if section else []
    if str(path[-1])[:1].isdecimal():
        return "a comma ends a value here; write decimals with a point, such as 2.5 mm"
    near = nearest(str(path[-1]), known)
    return f"unknown key; did you mean {near!r}?" if near else f"unknown key; known here: {', '.join(known)}"


def _one_of(written: Any, expected: str) -> str:
    """Say which words are taken; ``expected`` is pydantic's list, such as ``'a', 'b' or 'c'``."""
    words = expected.replace(" or ", ", ").replace("'", "").split(", ")
    near = nearest(written, words) if isinstance(written, str) else None
    hint = f"; did you mean {near!r}?" if near else ""
    lead = "no value given; " if written is BLANK else ""
    return f"{lead}one of {', '.join(words)} is wanted{hint}"
