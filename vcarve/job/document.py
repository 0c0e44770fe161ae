"""YAML text as a tree in which every key path knows its file and line.

Only the plain part of YAML is taken: mappings, lists and single values.  Single values stay the text that
was written, so ``1:30``, ``012`` and ``no`` mean nothing by themselves; the records say how each is read.
Anchors, aliases, tags, doubled keys and several documents in one file are refused.
"""

from __future__ import annotations

import json
import os
import sys
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import Any

import yaml

from vcarve.errors import InputError, Problem, cut
from vcarve.job.fields import BLANK

LARGEST_BYTES = 256 * 1024
DEEPEST = 20
MOST_DIGITS = 9  # of the number of an item
STDIN = "-"
STDIN_NAME = "standard input"
_PACKAGE = Path(__file__).resolve().parent.parent

_UNREAD: dict[type[Exception], str] = {
    FileNotFoundError: "there is no such file",
    IsADirectoryError: "it is a folder",
    PermissionError: "reading it is not allowed",
}

KeyPath = tuple[str | int, ...]


def dotted(path: KeyPath) -> str:
    """Return the key path as shown to the user: ``pattern.frame.0.distance``."""
    return ".".join(str(part) for part in path)


def path_of(key: str) -> KeyPath:
    """Return the key path that is shown as ``key``."""
    return tuple(_step(part) for part in key.split(".") if part)


def _step(part: str) -> str | int:
    """Return a part of a key path as the number of an item of a list, if it can be one."""
    return int(part) if part.isdecimal() and len(part) <= MOST_DIGITS else part


def _set_by(key: str) -> str:
    """Return what stands for the file of a key that the command line has set."""
    return f"--set {cut(key)}"


@dataclass(frozen=True, slots=True)
class Place:
    """Where a key was written: a file and a line (1-based); what the command line set has ``--set KEY`` for a file."""

    file: str | None
    line: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """A tree of dicts, lists, texts and ``BLANK``, with the place of every key path in it."""

    file: str | None
    folder: str  # where paths inside the document are looked up
    tree: dict[str, Any]
    places: Mapping[KeyPath, Place] = field(default_factory=dict)

    def place(self, path: KeyPath) -> Place:
        """Return the place of ``path``, or of the nearest section around it that was written."""
        for length in range(len(path), 0, -1):
            if path[:length] in self.places:
                return self.places[path[:length]]
        return Place(self.file)

    def written(self, path: KeyPath) -> str | None:
        """Return the single value at ``path`` as it was written; ``None`` for sections, lists and missing keys."""
        node: Any = self.tree
        for part in path:
            if isinstance(node, dict):
                node = node.get(str(part))
            elif isinstance(node, list) and isinstance(part, int) and part < len(node):
                node = node[part]
            else:
                return None
        return node if isinstance(node, str) else None

    def with_section(self, key: str, path: KeyPath) -> Document:
        """Return the document as if what is at ``path`` stood under ``key`` at the top, its places those of where it is."""
        node: Any = self.tree
        for part in path:
            node = node[part]
        places = {at: place for at, place in self.places.items() if at[0] != key}
        for at, place in self.places.items():
            if at[: len(path)] == path:
                places[(key, *at[len(path) :])] = place
        places.setdefault((key,), self.place(path))
        return replace(self, tree={**self.tree, key: node}, places=places)

    def problem(self, path: KeyPath, want: str, value: str | None = None) -> Problem:
        """Build the problem of the value at ``path``; ``value`` replaces the value as written."""
        place = self.place(path)
        key = dotted(path)
        shown = self.written(path) if value is None else value
        named = None if place.file == _set_by(key) else key or None
        return Problem(file=place.file, line=place.line, key=named, value=shown, want=want)


def in_order(problems: Iterable[Problem]) -> list[Problem]:
    """Sort problems by file and line, overrides of the command line last, each said once."""
    unique = dict.fromkeys(problems)
    return sorted(unique, key=lambda one: (one.line is None, one.file or "", one.line or 0))


@contextmanager
def placed(document: Document | None) -> Iterator[None]:
    """Give problems that later rooms find in a document's keys the file and the line where the key was written."""
    try:
        yield
    except InputError as error:
        if document is None:
            raise
        problems = []
        # Names of layers may hold dots, or be numbers.
        written = {dotted(path): path for path in document.places}
        for one in error.problems:
            path = written.get(one.key or "") or path_of(one.key or "")
            ours = one.file is None and path and path[0] in document.tree
            problems.append(document.problem(path, one.want, one.value) if ours else one)
        raise InputError(in_order(problems)) from None


def read_document(path: str, sets: Iterable[str] = ()) -> Document:
    """Read a YAML file (``-``: standard input) and lay the overrides ``key.path=value`` over it.

    Raises ``InputError`` with every problem found.
    """
    data = read_bytes(path, LARGEST_BYTES)
    if path == STDIN:
        return parse_document(data, file=STDIN_NAME, sets=sets)
    return parse_document(data, file=path, folder=str(Path(path).parent), sets=sets)


_only: ContextVar[tuple[str, ...]] = ContextVar("_only", default=())


@contextmanager
def reading_only(folder: str, *others: str) -> Iterator[None]:
    """Let nothing be read but plain files of a folder, those of ``others``, and what comes with Mizo.

    All else raises ``InputError``.
    """
    token = _only.set(tuple(os.path.realpath(one) for one in (folder, *others, str(_PACKAGE))))
    try:
        yield
    finally:
        _only.reset(token)


def _forbidden(path: str) -> str | None:
    """Say why a path must not be read; ``None`` where it may."""
    if not (allowed := _only.get()):
        return None
    place = os.path.realpath(path)
    if not any(Path(place).is_relative_to(one) for one in allowed):
        return f"it lies outside {allowed[0]}, the folder that is worked in; put it there"
    return "it is no plain file" if os.path.exists(place) and not os.path.isfile(place) else None


def read_bytes(path: str, most: int) -> bytes:
    """Return a file's bytes (``-``: those of standard input); of more than ``most`` only that there are more."""
    if why := _forbidden(path):
        raise InputError(Problem(file=path, want=f"is not read: {why}"))
    if path == STDIN:
        if sys.stdin is None:
            raise InputError(Problem(file=STDIN_NAME, want="cannot be read: it is closed"))
        return sys.stdin.buffer.read(most + 1)
    try:
        with Path(path).open("rb") as stream:
            return stream.read(most + 1)
    except (OSError, ValueError) as error:
        why = _UNREAD.get(type(error), "it is not a usable path")
        raise InputError(Problem(file=path, want=f"cannot be read: {why}")) from None


def parse_document(
    data: bytes, *, file: str | None = None, folder: str = ".", sets: Iterable[str] = ()
) -> Document:
    """Read YAML bytes as ``read_document`` does; ``file`` is the name shown in problems."""
    builder = _Builder(file)
    tree = builder.build(_decode(data, file))
    if builder.problems:
        raise InputError(builder.problems)
    if problems := [one for override in sets if (one := _override(tree, builder.places, override))]:
        raise InputError(problems)
    return Document(file=file, folder=folder, tree=tree, places=builder.places)


def document_of(values: Mapping[str, Any], *, folder: str = ".", sets: Iterable[str] = ()) -> Document:
    """Return Python's dicts, lists and single values as the document that a file with them would be.

    They have no file and no lines.  Raises ``InputError`` as ``parse_document`` does.
    """
    try:
        text = json.dumps(values, ensure_ascii=False, default=str)  # YAML as well
        written = parse_document(text.encode("utf-8", "replace"), folder=folder, sets=sets)
    except TypeError:
        raise InputError("a key must be a plain word") from None
    except InputError as error:
        raise InputError(replace(one, line=None) for one in error.problems) from None
    except (ValueError, RecursionError):
        raise InputError(_TOO_DEEP) from None
    overrides = {path: place for path, place in written.places.items() if place.file is not None}
    return replace(written, places=overrides)


def _decode(data: bytes, file: str | None) -> str:
    if len(data) > LARGEST_BYTES:
        want = f"too large; files of up to {LARGEST_BYTES // 1024} KiB are taken"
        raise InputError(Problem(file=file, want=want))
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        want = "not UTF-8 text; save the file as UTF-8"
        raise InputError(Problem(file=file, line=line, want=want)) from None
    for number, content in enumerate(text.split("\n"), start=1):
        if unseen := _controls(content.removesuffix("\r")):
            raise InputError(Problem(file=file, line=number, want=unseen))
    return text


def _controls(text: str) -> str | None:
    """Say which sign of a line nobody can see, and a terminal would obey; ``None`` where there is none."""
    for char in text if not text.isprintable() else "":
        if not char.isprintable() and char != "\t" and unicodedata.category(char) != "Zs":
            return f"a control character (U+{ord(char):04X}) is not taken; remove it"
    return None


_TOO_DEEP = "nested too deeply"
_SYNTAX = (  # what the YAML scanner stumbles over -> what the person should do
    (_TOO_DEEP, _TOO_DEEP),
    ("'\\t'", "indent with spaces, not with tabs"),
    ("cannot start any token", "put quotes round a value that begins with a sign such as % or @"),
    ("mapping values are not allowed", "a colon where none may stand; check indentation, or quote the value"),
    ("could not find expected ':'", "a key without its colon; write 'key: value'"),
    ("end of stream", "a bracket, brace or quote is opened here and never closed"),
    ("expected ',' or", "the bracket or brace opened here is not closed, or a comma is missing"),
    ("expected <block end>", "check the indentation; the keys of one section start in the same column"),
    ("unknown escape", "a backslash in double quotes begins an escape; use single quotes or double it"),
)


def _line(event: Any) -> int:
    return int(event.start_mark.line) + 1


class _Builder:
    """Builds the tree from YAML events, collecting every problem."""

    def __init__(self, file: str | None) -> None:
        self.file = file
        self.problems: list[Problem] = []
        self.places: dict[KeyPath, Place] = {}
        self.events: Iterator[Any] = iter(())

    def report(self, line: int | None, want: str, *, path: KeyPath = (), value: str | None = None) -> None:
        key = dotted(path) or None
        self.problems.append(Problem(file=self.file, line=line, key=key, value=value, want=want))

    def build(self, text: str) -> dict[str, Any]:
        """Return the root mapping, or an empty one when there were problems."""
        told = yaml.parse(text, Loader=yaml.SafeLoader)
        frame = yaml.StreamStartEvent | yaml.DocumentEndEvent | yaml.StreamEndEvent
        self.events = (event for event in told if not isinstance(event, frame))
        root: Any = BLANK
        try:
            if next(self.events, None) is not None:
                root = self._value(next(self.events), ())
            if (more := next(self.events, None)) is not None:
                self.report(_line(more), "only one document is taken; remove the line '---'")
        except yaml.MarkedYAMLError as error:
            said = error.problem or ""
            opened = error.context_mark is not None and ("end of stream" in said or "expected ',' or" in said)
            mark = error.context_mark if opened else error.problem_mark or error.context_mark
            line = None if mark is None else int(mark.line) + 1
            self.report(line, next((want for part, want in _SYNTAX if part in said), "not valid YAML here"))
        except yaml.YAMLError:
            self.report(None, "not valid YAML text")
        else:
            if root is BLANK:
                self.report(None, "the file is empty")
            elif not isinstance(root, dict):
                self.report(1, "keys and values are wanted, such as 'piece: {width: 90 mm, ...}'")
        return root if isinstance(root, dict) else {}

    def _value(self, event: Any, path: KeyPath) -> Any:
        """Return the value that begins with an event."""
        line = _line(event)
        if isinstance(event, yaml.AliasEvent):
            self.report(line, "aliases are not taken; write the value out", value=f"*{event.anchor}")
            return BLANK
        if event.anchor is not None:
            self.report(line, "anchors are not taken; write the value out", value=f"&{event.anchor}")
        if event.tag is not None:
            short = event.tag.replace("tag:yaml.org,2002:", "!!")
            self.report(line, "tags are not taken; write the plain value", value=short)
        if isinstance(event, yaml.ScalarEvent):
            if event.implicit[0] and event.value in ("", "~", "null"):
                return BLANK
            # Escapes in double quotes bring in what _decode cannot see.
            if want := _controls(event.value.replace("\n", "")):
                self.report(line, want, path=path)
            return event.value
        if len(path) >= DEEPEST:
            raise yaml.MarkedYAMLError(problem=_TOO_DEEP, problem_mark=event.start_mark)
        return self._list(path) if isinstance(event, yaml.SequenceStartEvent) else self._section(path)

    def _list(self, path: KeyPath) -> list[Any]:
        items: list[Any] = []
        while not isinstance(event := next(self.events), yaml.SequenceEndEvent):
            inner = (*path, len(items))
            self.places.setdefault(inner, Place(self.file, _line(event)))
            items.append(self._value(event, inner))
        return items

    def _section(self, path: KeyPath) -> dict[str, Any]:
        section: dict[str, Any] = {}
        while not isinstance(event := next(self.events), yaml.MappingEndEvent):
            line, key = _line(event), self._value(event, (*path, "?"))
            inner = (*path, key if isinstance(key, str) else "?")
            if inner[-1] != key and not isinstance(event, yaml.AliasEvent):
                self.report(line, "a key must be a plain word", path=path)
            elif key in section:
                first = self.places[inner].line
                self.report(line, f"this key is given twice, first on line {first}; keep one", path=inner)
            self.places.setdefault(inner, Place(self.file, line))
            section.setdefault(str(inner[-1]), self._value(next(self.events), inner))
        return section


def _override(tree: dict[str, Any], places: dict[KeyPath, Place], override: str) -> Problem | None:
    """Lay one ``key.path=value`` over the tree; an empty value takes the key out."""
    name, equals, text = (part.strip() for part in override.partition("="))
    parts = name.split(".")
    if not equals or not all(parts):
        want = "write a key, an equals sign and a value, such as --set groove.depth=1.5"
        return Problem(file="--set", value=override, want=want)
    value: Any = text
    file = _set_by(name)
    problem = partial(Problem, file=file, value=text)
    if unseen := _controls(override):
        return Problem(file="--set", value=override, want=unseen)
    path: KeyPath = ()
    node: Any = tree
    for part in parts[:-1]:
        step = _step(part) if isinstance(node, list) else part
        if isinstance(node, list):
            if not isinstance(step, int) or step >= len(node):
                items = f"its items are counted from 0 to {len(node) - 1}"
                return problem(want=f"{dotted(path)!r} is a list; {items}")
        elif node.get(step, BLANK) is BLANK:
            node[step] = {}
            places[(*path, step)] = Place(file)
        path, node = (*path, step), node[step]
        if not isinstance(node, dict | list):
            single = f"is the single value {node!r} and has no keys; set the whole of it"
            return problem(want=f"{dotted(path)!r} {single}")
    if isinstance(node, list):
        return problem(want="items of a list are set key by key, or all at once")
    last = (*path, parts[-1])
    for known in [known for known in places if known[: len(last)] == last]:
        del places[known]
    if value == "":
        node.pop(parts[-1], None)
        return None
    if value[0] in "{[":
        inner = _Builder(file)
        wrapped = inner.build(f"value: {value}")
        if inner.problems:
            return problem(want=inner.problems[0].want)
        value = wrapped["value"]
    node[parts[-1]] = value
    places[last] = Place(file)
    return None
