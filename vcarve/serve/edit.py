"""One key of a YAML text changed, added or taken out; every other byte stays: comments, order, blank lines, line ends, quotes.

The text is cut at the marks that the YAML reader gives its nodes.  A new value is written on one line, in flow style where it
is a section or a list, in quotes only where it needs them or the former one had them.  What comes of it is read again, and is
what was read before with that one change, or else the fault is ours.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import yaml

from vcarve.errors import InputError, InternalError, Problem
from vcarve.job.document import (
    DEEPEST,
    LARGEST_BYTES,
    Document,
    KeyPath,
    document_of,
    dotted,
    parse_document,
    path_of,
)
from vcarve.job.fields import BLANK

MORE = "+"  # in a key path: one more item of a list
_Loader: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)  # the first is much quicker, and not everywhere
_BOM = "\ufeff"


@lru_cache(maxsize=8)
def read(text: str) -> Document:
    """Return a text as a document without a file, kept and not to be changed; raises ``InputError`` for what cannot be read."""
    return parse_document(text.encode("utf-8", "surrogatepass"))


def edited(text: str, key: str | KeyPath, value: Any) -> str:
    """Return a text with the value at a key path changed or added, or with the key taken out (``None``).

    The path leads through sections by their keys and through lists by the number of an item, ``+`` for one more; sections that
    are not there yet are added.  ``value`` is a text, a number, true or false, or a dict or list of them.  Raises ``InputError``
    for a text that cannot be read, a path that leads nowhere, and a value that cannot be written.
    """
    document = read(text)
    path = _path(document, key)
    if not path:
        raise InputError("name the key to change")
    if value is not None:
        with _told_at(path):
            value = document_of({"value": value}).tree["value"]
    wanted = _changed(document.tree, path, 0, value)
    if wanted == document.tree:
        return text
    if not wanted:
        raise InputError(
            Problem(key=dotted(path), want="this is the last key of the file; it cannot be taken out")
        )
    mark = _BOM if text.startswith(_BOM) else ""
    with _told_at(path):
        new = mark + _Cuts(text.removeprefix(_BOM)).put(path, value)
    if len(new.encode()) > LARGEST_BYTES or len(path) + _depth(value) > DEEPEST:
        want = "too long, or nested too deeply, for a file of this kind"
        raise InputError(Problem(key=dotted(path), want=want))
    try:
        found = read(new).tree
    except InputError as error:
        raise InternalError(f"Changing {dotted(path)!r} spoiled the text: {error}") from error
    if found != wanted:
        raise InternalError(f"Changing {dotted(path)!r} changed more than that.")
    return new


@contextmanager
def _told_at(path: KeyPath) -> Iterator[None]:
    """Tell of a value that cannot be written where it was to stand."""
    try:
        yield
    except InputError as error:
        raise InputError(replace(one, key=dotted(path)) for one in error.problems) from None


def _path(document: Document, key: str | KeyPath) -> KeyPath:
    if not isinstance(key, str):
        return tuple(key)
    # Names of layers may hold dots.
    written = {dotted(path): path for path in document.places}
    near = max((one for one in written if key == one or key.startswith(f"{one}.")), key=len, default="")
    return (*written.get(near, ()), *path_of(key[len(near) :]))


def _depth(value: Any) -> int:
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else None
    return 0 if inner is None else 1 + max(map(_depth, inner), default=0)


def _changed(node: Any, path: KeyPath, at: int, value: Any) -> Any:
    """Return the tree below a node with the change made; this is the law, the text has to follow it."""
    if at == len(path):
        return value
    part, last = path[at], at == len(path) - 1
    taken_out = value is None and last
    if node is BLANK:
        if value is None:
            return BLANK
        node = [] if part == MORE else {}
    if isinstance(node, list):
        if part == MORE and value is not None:
            return [*node, _changed(BLANK, path, at + 1, value)]
        if not isinstance(part, int) or part >= len(node):
            want = f"{dotted(path[:at])!r} is a list of {len(node)}; its items are counted from 0"
            raise InputError(Problem(key=dotted(path), want=want))
        here = [] if taken_out else [_changed(node[part], path, at + 1, value)]
        return [*node[:part], *here, *node[part + 1 :]]
    if not isinstance(node, dict):
        want = f"{dotted(path[:at])!r} is the single value {node!r} and has no keys; set the whole of it"
        raise InputError(Problem(key=dotted(path), want=want))
    if taken_out or (value is None and str(part) not in node):
        return {key: inner for key, inner in node.items() if key != str(part)}
    return node | {str(part): _changed(node.get(str(part), BLANK), path, at + 1, value)}


# --- values as they are written ---


def _flow(value: Any) -> str:
    """Return a value as it stands inside brackets."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_word(key, '{{{}: x}}')}: {_flow(one)}" for key, one in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_flow, value)) + "]"
    return "null" if value is BLANK else _word(value, "[{0},{0}]")


def _word(value: str, around: str, quote: str | None = None) -> str:
    """Return a single value in quotes of this kind, if any, else in none, else in double ones: as it is read back ``around``."""
    ways: dict[str | None, Callable[[], str]] = {
        None: lambda: value,
        "'": lambda: "'" + value.replace("'", "''") + "'",
        '"': lambda: json.dumps(value, ensure_ascii=False),
    }
    for style in (quote, None, '"'):
        written = ways[style]()
        if style is None and value in ("", "~", "null"):  # read as no value
            continue
        try:
            read_back = yaml.compose(around.format(written), Loader=yaml.SafeLoader)  # documents are read so
        except yaml.YAMLError:
            continue
        one = read_back.value[0] if read_back is not None and read_back.value else None
        scalar = one[around.startswith("x")] if isinstance(one, tuple) else one
        if isinstance(scalar, yaml.ScalarNode) and (scalar.value, scalar.style or None) == (value, style):
            return written
    raise InputError(Problem(value=value, want="too long, or of signs that cannot be written"))


# --- the text ---


@dataclass(frozen=True, slots=True)
class _Hold:
    """What a node hangs on: where that ends (after a colon or a dash), in which column it stands, whether inside brackets."""

    after: int
    column: int
    flow: bool
    colon: bool = True


class _Cuts:
    """A text with the nodes that its marks lie in; places are indices of characters."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.line_break = "\r\n" if re.search(r"\r?\n", text + "\n")[0] == "\r\n" else "\n"  # type: ignore[index]
        try:
            self.root: Any = yaml.compose(text, Loader=_Loader)
        except yaml.YAMLError:  # the one that documents are read with takes more
            self.root = yaml.compose(text, Loader=yaml.SafeLoader)

    def put(self, path: KeyPath, value: Any) -> str:
        """Return the text with a value put at a path, or the key there taken out."""
        node, hold = self.root, _Hold(0, -1, flow=False)
        for at, part in enumerate(path):
            rest = path[at + 1 :]
            if (index := self._index(node, part)) is None:
                for step in reversed(rest):
                    value = [value] if step == MORE else {str(step): value}
                return self._added(node, hold, part, value)
            if value is None and not rest:
                return self._without(node, hold, index)
            node, hold = self._child(node, index)
        return self._replaced(node, hold, value)

    def _index(self, node: Any, part: str | int) -> int | None:
        """Return the number of a key or an item in its node; ``None`` for one that is not there."""
        if isinstance(node, yaml.MappingNode):
            return next((i for i, (key, _) in enumerate(node.value) if key.value == str(part)), None)
        return part if isinstance(node, yaml.SequenceNode) and isinstance(part, int) else None

    def _child(self, node: Any, index: int) -> tuple[Any, _Hold]:
        flow, column = bool(node.flow_style), node.start_mark.column
        if isinstance(node, yaml.MappingNode):
            key, child = node.value[index]
            colon = self._colon(key)
            return child, _Hold(colon or key.end_mark.index, column, flow, colon is not None)
        child = node.value[index]
        return child, _Hold(child.start_mark.index if flow else self._dash(node, index) + 1, column, flow)

    def _colon(self, key: Any) -> int | None:
        """Return where the colon after a key ends; ``None`` where there is none, as in ``{a, b}``."""
        found = re.compile(r"\s*:").match(self.text, key.end_mark.index)
        return found and found.end()

    def _dash(self, node: Any, index: int) -> int:
        """Return where the dash of an item of a list stands that is written in lines."""
        column = int(node.start_mark.column)
        line = self._line(node.value[index].start_mark.index)
        while not re.compile(rf"[- ?]{{{column}}}-").match(self.text, line):
            line = self._line(line - 1)
        return line + column

    # --- places ---

    def _line(self, at: int) -> int:
        """Return where the line of a place begins."""
        return self.text.rfind("\n", 0, at) + 1

    def _next(self, at: int) -> int:
        """Return where the line after a place's begins, or where the text ends."""
        return self.text.find("\n", at) + 1 or len(self.text)

    def _end(self, node: Any, hold: _Hold) -> int:
        """Return where the last sign of a node stands, of one without any where it hangs."""
        start, end = int(node.start_mark.index), int(node.end_mark.index)
        if isinstance(node, yaml.ScalarNode):
            if start == end:
                return hold.after
            # Lines of a text in lines end with the last that is written.
            return start + len(self.text[start:end].rstrip()) if node.style in ("|", ">") else end
        if node.flow_style:
            return end
        return self._end(*self._child(node, len(node.value) - 1))

    def _start(self, node: Any, index: int) -> int:
        """Return where a key or an item begins."""
        if isinstance(node, yaml.SequenceNode):
            return int(node.value[index].start_mark.index) if node.flow_style else self._dash(node, index)
        start = int(node.value[index][0].start_mark.index)
        asked = re.search(r"(?:^|[\s{\[,-])(\?[ \t]+)$", self.text[self._line(start) : start])
        return start - len(asked[1]) if asked else start

    def _span(self, node: Any, index: int) -> tuple[int, int]:
        return self._start(node, index), self._end(*self._child(node, index))

    def _comment(self, line: int) -> int | None:
        """Return the column of a comment that has a line for itself."""
        found = re.compile(r" *#").match(self.text, line)
        return None if found is None else found.end() - 1 - line

    # --- changes ---

    def _spliced(self, *cuts: tuple[int, int, str]) -> str:
        """Return the text with something else in place of what lies between two places, of each cut."""
        text = self.text
        for start, end, new in sorted(cuts, reverse=True):
            text = text[:start] + new + text[end:]
        return text

    def _replaced(self, node: Any, hold: _Hold, value: Any) -> str:
        """Return the text with another value in place of a node."""
        quote = node.style if isinstance(node, yaml.ScalarNode) and node.style in ("'", '"') else None
        around = "[{0},{0}]" if hold.flow else "x: {}"
        new = _word(value, around, quote) if isinstance(value, str) else _flow(value)
        return self._spliced(*self._emptied(node, hold, new))

    def _emptied(self, node: Any, hold: _Hold, new: str) -> list[tuple[int, int, str]]:
        """Return the cuts that put one line in place of a node."""
        start = node.start_mark.index
        if isinstance(node, yaml.ScalarNode) and start == node.end_mark.index:
            return [(hold.after, hold.after, f" {new}" if hold.colon else f": {new}")]
        if isinstance(node, yaml.CollectionNode) and not node.flow_style and self._line(start) > hold.after:
            spans = [self._span(node, index) for index in range(len(node.value))]
            lines = [(self._line(first), self._next(last), "") for first, last in spans]
            return [(hold.after, hold.after, f" {new}"), *lines]
        return [(start, self._end(node, hold), new)]

    def _added(self, node: Any, hold: _Hold, part: str | int, value: Any) -> str:
        """Return the text with one more key or item in a node."""
        name = None if part == MORE and not isinstance(node, yaml.MappingNode) else str(part)
        bare = isinstance(node, yaml.ScalarNode)  # nothing is written but the key of a section or a list
        if not bare and not node.flow_style:
            return self._lined(node, hold, int(node.start_mark.column), name, value)
        # A comment below, further in, shows that lines are wanted.
        column = self._comment(self._next(hold.after))
        shown = column is not None and column > max(hold.column, 0)
        if not hold.flow and (bare or not node.value) and (shown or (bare and name is not None)):
            return self._lined(node, hold, column if column and shown else hold.column + 2, name, value)
        if bare:
            return self._replaced(node, hold, [value] if name is None else {name: value})
        new = _flow(value) if name is None else f"{_word(name, '{{{}: x}}')}: {_flow(value)}"
        start, end = node.start_mark.index, node.end_mark.index
        if self.text[start] not in "{[":  # one key in a list, without braces
            return self._spliced((start, start, "{"), (end, end, f", {new}}}"))
        if not node.value:
            return self._spliced((start + 1, start + 1, new))
        last = self._end(*self._child(node, len(node.value) - 1))
        # A colon right before a comma is not read everywhere.
        return self._spliced((last, last, f"{' ' * (self.text[last - 1] == ':')}, {new}"))

    def _lined(self, node: Any, hold: _Hold, column: int, name: str | None, value: Any) -> str:
        """Return the text with a line for a key or an item: above a comment that explains it, else after the others."""
        lead = "- " if name is None else f"{_word(name, '{}: x')}: "
        line = " " * column + lead + (_word(value, "x: {}") if isinstance(value, str) else _flow(value))
        own, cuts = list[tuple[int, int]](), list[tuple[int, int, str]]()  # the lines that others have
        if isinstance(node, yaml.ScalarNode) or node.flow_style:
            cuts.append((hold.after, node.end_mark.index, ""))  # brackets with nothing in them
        else:
            spans = (self._span(node, index) for index in range(len(node.value)))
            own = [(self._line(first), self._next(last)) for first, last in spans]
        top = self._next(hold.after) if hold.column >= 0 else self._top()
        if own and own[0][0] < top and hold.column >= 0:  # a dash stands before the first
            top = own[0][1]
        place = own[-1][1] if own else top
        while (self._comment(place) or 0) > column:  # of the last one
            place = self._next(place)
        if name is not None:
            place = self._explained(name, column, top, own) or place
        last = place == len(self.text) and not self.text.endswith("\n")
        return self._spliced(
            (place, place, self.line_break + line if last else line + self.line_break), *cuts
        )

    def _explained(self, name: str, column: int, top: int, own: list[tuple[int, int]]) -> int | None:
        """Return where, from ``top`` on and outside others' lines, a comment in this column explains a key not written."""
        wanted = re.compile(rf" {{{column}}}# ?{re.escape(name)}:")
        at = top
        while at < len(self.text):
            inside = next((end for first, end in own if first <= at < end), None)
            if inside is None and wanted.match(self.text, at):
                return at
            if inside is None and self._comment(at) is None and self.text[at : self._next(at)].strip():
                return None
            at = inside or self._next(at)
        return None

    def _top(self) -> int:
        """Return where the first line of the document may stand."""
        start = self._line(self.root.start_mark.index)
        return start if re.search(r"^(?:---|%)", self.text[:start], re.MULTILINE) else 0

    def _without(self, node: Any, hold: _Hold, index: int) -> str:
        """Return the text without a key or an item."""
        count, (start, end) = len(node.value), self._span(node, index)
        if node.flow_style:
            return self._without_in_flow(node, index, start, end)
        if count == 1:
            empty = "{}" if isinstance(node, yaml.MappingNode) else "[]"
            return self._spliced(*self._emptied(node, hold, empty))
        line = self._line(start)
        if not self.text[line:start].strip():
            return self._spliced((line, self._next(end), ""))
        # A dash stands before it: what follows takes its place.
        if index + 1 < count:
            following = self._start(node, index + 1)
            if not self.text[self._next(end) : following].strip():
                return self._spliced((start, following, ""))
        found = re.compile(r"[^\r\n]*").match(self.text, end)
        return self._spliced((start, found.end() if found else end, ""))

    def _without_in_flow(self, node: Any, index: int, start: int, end: int) -> str:
        """Return the text without one of the entries inside brackets, and without the comma that is then too many."""
        spans = [self._span(node, each) for each in range(len(node.value))]
        first, last = node.start_mark.index, node.end_mark.index
        if self.text[first] not in "{[":  # one key in a list, without braces
            return self._spliced((first, last, "{}"))
        if index:
            low, high = spans[index - 1][1], start
        else:
            low, high = end, spans[1][0] if len(spans) > 1 else last - 1
        comma = self._comma(low, high)
        if comma is None or "#" in self.text[low:high]:
            cuts = [(start, end, "")] + ([] if comma is None else [(comma, comma + 1, "")])
            return self._spliced(*cuts)
        return self._spliced((low, end, "") if index else (start, high if len(spans) > 1 else comma + 1, ""))

    def _comma(self, start: int, end: int) -> int | None:
        """Return where a comma stands between two places, outside comments."""
        found = re.compile(r"(?:\s|#[^\n]*)*,").match(self.text, start, end)
        return None if found is None else found.end() - 1
