"""One line of text to words: comments off, blanks off, letters and numbers apart, every word with its column.

Words used here: a *word* is a letter and a number (NISTIR 6556 §3.3.2); a *reject* is a place on the line and the reason
why the line cannot be taken.
"""

from __future__ import annotations

import re
from types import MappingProxyType
from typing import NamedTuple

from vcarve.program.grammar import (
    GRBL,
    HARMLESS_LIVE,
    LINUXCNC,
    LIVE,
    NIST,
    NO_AXIS,
    SHORTEST_LIMIT,
    Dialect,
    active_comment,
)
from vcarve.program.values import Parameters, ValueFault, kept_value, parameter_index, real_value

_PART = re.compile(r"\([^)]*\)?|;.*|[^(;]+", re.DOTALL)
_LIVE = re.compile(f"[{''.join(LIVE)}]|[^\\x00-\\x7e]")
_HIDDEN = re.compile(r"[^\t -~]")
# What must not stand in a comment.  §3.3.4: printable characters, blanks and tabs only; LinuxCNC takes any text there.
_NO_COMMENT = {
    "rs274ngc": re.compile(r"[(]|[^\t -~]"),
    "grbl-1.1": _HIDDEN,
    "linuxcnc": re.compile(r"[(\x00-\x08\x0a-\x1f\x7f]"),
}
_LINE_NUMBER = re.compile(r"[0-9]+(?:\.[0-9]+)?")
_DIGITS = re.compile(r"[0-9]+")
_RUN = re.compile(r".[^A-Z]{0,19}", re.DOTALL)
# Characters; blanks and comments do not count for every controller, but they take memory here.
LONGEST_LINE = 10_000
_NONE_SET: Parameters = MappingProxyType({})
_NO_LETTER = NO_AXIS | {
    ")": "a closing bracket without an opening one",
    "#": "this controller knows no parameters and expressions: write the value itself",
    "O": "flow control (O words) is not read: write the moves out; the line of a program number may be left out",
    "%": "a percent sign must stand alone on its line, at the beginning and at the end of the program",
    "/": "the block delete sign may only stand at the beginning of the line",
    "D": "D is the place of a bit's radius in a table of tools, which this controller does not have; "
    "write the path of the bit's middle, and leave out G41 and G42 and D",
    "H": "H is the place of a tool's length in a table of tools, which this controller does not have; "
    "set the zero with the bit in the spindle, and leave out G43 and H",
}
_NO_WORD = dict.fromkeys("0123456789.+-", "a number without a letter before it")
_NO_MORE = {".": "a number has at most one decimal point"} | dict.fromkeys(
    "+-", "a sign may only stand at the beginning of a number"
)


class Word(NamedTuple):
    """A letter and its value; ``column`` is 1-based, ``text`` as written without blanks."""

    letter: str
    value: float
    column: int
    text: str


class Reject(Exception):
    """A line that cannot be taken: the column, the word as written, and the reason."""

    def __init__(self, column: int, word: str, reason: str) -> None:
        self.column, self.word, self.reason = column, word, reason


class Line(NamedTuple):
    """A line taken apart: its words, the parameters it sets, and kind and text of the events it is worth besides."""

    words: tuple[Word, ...]
    settings: tuple[tuple[int, float], ...]
    notes: tuple[tuple[str, str], ...]


def _strip(raw: str, dialect: Dialect) -> tuple[str, list[int], list[str]]:
    """Return the line without comments and blanks in upper case, the column of each character left, and the comments.

    §3.3: blanks and tabs outside comments mean nothing, even inside a number; letters may be of either case.
    """
    if dialect is GRBL and (live := _LIVE.search(raw)):
        reason = "this controller acts on this character at once, even inside a comment"
        raise Reject(live.start() + 1, live.group(), reason)
    # Grbl drops the sign of block delete anywhere outside comments and always runs the line.
    dropped = f" \t/{HARMLESS_LIVE}" if dialect is GRBL else " \t"
    columns: list[int] = []
    comments: list[str] = []
    for found in _PART.finditer(raw):
        part, column = found.group(), found.start() + 1
        if part[0] == ";":
            comments.append(part)
        elif part[0] == "(":
            wrong = _NO_COMMENT[dialect.name].search(part, 1)
            if wrong is not None:
                nested = wrong.group() == "("
                reason = "comments must not nest" if nested else "this character is not allowed in a comment"
                raise Reject(column + wrong.start(), wrong.group(), reason)
            if part[-1] != ")" and dialect is not GRBL:  # Grbl drops such a comment without a word
                raise Reject(column, part, "the comment is not closed on its line")
            comments.append(part.removesuffix(")"))
        else:
            wrong = _HIDDEN.search(part)
            if wrong is not None:
                reason = "only plain ASCII characters may stand outside comments"
                raise Reject(column + wrong.start(), wrong.group(), reason)
            columns += [at for at, char in enumerate(part, column) if char not in dropped]
    return "".join(raw[at - 1] for at in columns).upper(), columns, comments


def take_apart(
    raw: str, dialect: Dialect, parameters: Parameters | None = _NONE_SET, *, skip_deleted: bool = False
) -> Line:
    """Return the words of one line (without its line end); raises :class:`Reject`.

    ``parameters`` holds those the program has set so far.  With ``skip_deleted`` the words of a line that begins with
    the block delete sign are not looked at; its comments still have to be whole.
    """
    limit = dialect.line_limit
    too_long = Reject(limit + 1, raw[limit:][:20], f"the line is longer than {limit} characters")
    if len(raw) > LONGEST_LINE:
        raise too_long
    text, columns, comments = _strip(raw, dialect)
    if (len(text) if dialect is GRBL else len(raw.encode("utf-8", "replace"))) > limit:
        raise too_long
    deleted = text.startswith("/")
    if deleted and not raw.lstrip(" \t").startswith("/"):
        raise Reject(columns[0], "/", _NO_LETTER["/"])
    notes = [("switched", "")] if deleted else []
    if dialect is NIST and comments and comments[-1][0] == ";":
        # §3.3.4 knows round brackets only, but no controller at hand refuses it.
        notes.append(("semicolon", ""))
    active = [("active-comment", word) for comment in comments if (word := active_comment(comment[1:]))]
    if deleted and skip_deleted:
        return Line((), (), (*notes, *active))
    if dialect is GRBL:
        parameters = None
    at = first = int(deleted)
    words: list[Word] = []
    settings: list[tuple[int, float]] = []
    while at < len(text):
        letter, column, began = text[at], columns[at], at
        try:
            if letter == "#" and parameters is not None:
                index, at = parameter_index(text, at, parameters)
                if text[at : at + 1] != "=":
                    raise ValueFault(began, "an equals sign must follow the parameter to set")
                value, at = real_value(text, at + 1, parameters)
                settings.append((index, value))
            elif letter not in dialect.letters or letter == "O":
                reasons = _NO_LETTER | _NO_WORD | (_NO_MORE if words else {})
                reason = reasons.get(letter, "this letter or sign has no meaning here")
                raise Reject(column, _run(text, at), reason)
            else:
                if letter == "N":
                    at = _line_number(text, at, column, began == first, dialect)
                    value = float(text[began + 1 : at])
                else:
                    value, at = real_value(text, at + 1, parameters)
                    if dialect is GRBL:
                        value = kept_value(text[began + 1 : at])
                words.append(Word(letter, value, column, text[began:at]))
        except ValueFault as fault:
            # The letter is the place where the word begins; deep in an expression it is the value itself.
            inner = began if fault.at <= began + 1 else min(fault.at, len(text) - 1)
            raise Reject(columns[inner], _run(text, inner), fault.reason) from None
        if dialect is not GRBL and "(" in raw[column : columns[at - 1]]:
            raise Reject(column, text[began:at], "a comment must not stand inside a word")
    if dialect is not LINUXCNC and (HARMLESS_LIVE in raw or _LIVE.search(raw)):
        notes.append(("live-sign", ""))
    if dialect is NIST and len(text) > SHORTEST_LIMIT:
        notes.append(("long-line", ""))
    notes += [("outside", f"#{index}") for index, _ in settings]
    return Line(tuple(words), tuple(settings), (*notes, *active))


def _line_number(text: str, at: int, column: int, first: bool, dialect: Dialect) -> int:
    """Return the index after a line number (§3.3.1: first, unsigned, five digits; each controller has limits of its own)."""
    number = (_LINE_NUMBER if dialect is LINUXCNC else _DIGITS).match(text, at + 1)
    if number is None:
        raise Reject(column, _run(text, at), "a line number is digits without a sign")
    word = text[at : number.end()]
    if not first and dialect is not GRBL:
        raise Reject(column, word, "a line number may only stand at the beginning of the line")
    if dialect is NIST and len(word) > 6:
        raise Reject(column, word, "a line number has at most five digits")
    if float(number.group()) > dialect.line_number_max:
        raise Reject(column, word, f"a line number may be at most {dialect.line_number_max}")
    return number.end()


def _run(text: str, at: int) -> str:
    """Return the letter at ``at`` and what follows it up to the next letter: the word as far as it can be told."""
    found = _RUN.match(text, at)
    return found.group() if found else ""
