"""One line of text to words: comments off, blanks off, letters and numbers apart, every word with its column.

Words used here: a *word* is a letter and a number (NISTIR 6556 §3.3.2); a *reject* is a place on the line and the reason
why the line cannot be taken.
"""

from __future__ import annotations

import re
from types import MappingProxyType
from typing import NamedTuple

from vcarve.program.grammar import HARMLESS_LIVE, LIVE, NO_AXIS, SHORTEST_LIMIT, Dialect
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


class Word(NamedTuple):
    """A letter and its value; ``column`` is 1-based, ``text`` as written without blanks."""

    letter: str
    value: float
    column: int
    text: str

    @property
    def computed(self) -> bool:
        """Whether the value is not written as a number: a parameter, an expression, a function."""
        return any(char not in "0123456789.+-" for char in self.text[1:])

    @property
    def digits(self) -> int:
        """How many digits the value is written with."""
        return sum(map(str.isdigit, self.text))


class Reject(Exception):
    """A line that cannot be taken: the column, the word as written, and the reason."""

    def __init__(self, column: int, word: str, reason: str) -> None:
        super().__init__(reason)
        self.column = column
        self.word = word
        self.reason = reason


class Line(NamedTuple):
    """A line taken apart: its words, its comments, the parameters it sets, and the kinds of events it is worth besides."""

    words: tuple[Word, ...]
    comments: tuple[str, ...]
    settings: tuple[tuple[int, float], ...]
    notes: tuple[str, ...]


def _strip(raw: str, dialect: Dialect) -> tuple[str, list[int], list[str], bool]:
    """Return the line without comments and blanks in upper case, the column of each character left, the comments, and whether
    the last of them stands after a semicolon (§3.3.4 knows round brackets only, but no controller at hand refuses it).

    §3.3: blanks and tabs outside comments mean nothing, even inside a number; letters may be of either case.
    """
    grbl = dialect.limit_significant
    live = _LIVE.search(raw) if grbl else None
    if live is not None:
        reason = "this controller acts on this character at once, even inside a comment"
        raise Reject(live.start() + 1, live.group(), reason)
    blank = f" \t{HARMLESS_LIVE}" if grbl else " \t"
    columns: list[int] = []
    comments: list[str] = []
    semicolon = False
    for found in _PART.finditer(raw):
        part, column = found.group(), found.start() + 1
        if part[0] == ";":
            comments.append(part[1:])
            semicolon = True
        elif part[0] == "(":
            wrong = _NO_COMMENT[dialect.name].search(part, 1)
            if wrong is not None:
                nested = wrong.group() == "("
                reason = "comments must not nest" if nested else "this character is not allowed in a comment"
                raise Reject(column + wrong.start(), wrong.group(), reason)
            if part[-1] != ")" and not grbl:  # Grbl drops such a comment without a word
                raise Reject(column, part, "the comment is not closed on its line")
            comments.append(part[1:].removesuffix(")"))
        else:
            wrong = _HIDDEN.search(part)
            if wrong is not None:
                reason = "only plain ASCII characters may stand outside comments"
                raise Reject(column + wrong.start(), wrong.group(), reason)
            columns += [at for at, char in enumerate(part, column) if char not in blank]
    return "".join(raw[at - 1] for at in columns).upper(), columns, comments, semicolon


def take_apart(
    raw: str, dialect: Dialect, parameters: Parameters | None = _NONE_SET, *, skip_deleted: bool = False
) -> Line:
    """Return the words of one line (without its line end); raises :class:`Reject`.

    ``parameters`` holds those the program has set so far.  With ``skip_deleted`` the words of a line that begins with
    the block delete sign are not looked at; its comments still have to be whole.
    """
    grbl, limit = dialect.limit_significant, dialect.line_limit
    too_long = Reject(limit + 1, raw[limit:][:20], f"the line is longer than {limit} characters")
    if len(raw) > LONGEST_LINE:
        raise too_long
    text, columns, comments, semicolon = _strip(raw, dialect)
    if grbl and "/" in text:
        # Grbl drops the sign anywhere outside comments and always runs the line.
        columns = [column for char, column in zip(text, columns, strict=True) if char != "/"]
        text = text.replace("/", "")
    if (len(text) if grbl else len(raw.encode("utf-8", "replace"))) > limit:
        raise too_long
    deleted = text.startswith("/")
    if deleted and not raw.lstrip(" \t").startswith("/"):
        raise Reject(columns[0], "/", _why_no_letter("/"))
    notes = ["switched"] if deleted else []
    if semicolon and not dialect.semicolon_comments:
        notes.append("semicolon")
    if deleted and skip_deleted:
        return Line((), tuple(comments), (), tuple(notes))
    if grbl:
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
                raise Reject(column, _run(text, at), _why_after(letter) if words else _why_no_letter(letter))
            else:
                if letter == "N":
                    at = _line_number(text, at, column, began == first, dialect)
                    value = float(text[began + 1 : at])
                else:
                    value, at = real_value(text, at + 1, parameters)
                    if dialect.keeps_digits:
                        value = kept_value(text[began + 1 : at], value)
                words.append(Word(letter, value, column, text[began:at]))
        except ValueFault as fault:
            # The letter is the place where the word begins; deep in an expression it is the value itself.
            inner = began if fault.at <= began + 1 else min(fault.at, len(text) - 1)
            raise Reject(columns[inner], _run(text, inner), fault.reason) from None
        if not grbl and "(" in raw[column : columns[at - 1]]:
            raise Reject(column, text[began:at], "a comment must not stand inside a word")
    if dialect.name != "linuxcnc" and (HARMLESS_LIVE in raw or _LIVE.search(raw)):
        notes.append("live-sign")
    if dialect.name == "rs274ngc" and len(text) > SHORTEST_LIMIT:
        notes.append("long-line")
    return Line(tuple(words), tuple(comments), tuple(settings), tuple(notes))


def _line_number(text: str, at: int, column: int, first: bool, dialect: Dialect) -> int:
    """Return the index after a line number (§3.3.1: first, unsigned, five digits; each controller has limits of its own)."""
    number = (_LINE_NUMBER if dialect.name == "linuxcnc" else _DIGITS).match(text, at + 1)
    if number is None:
        raise Reject(column, _run(text, at), "a line number is digits without a sign")
    word = text[at : number.end()]
    if not first and not dialect.line_number_anywhere:
        raise Reject(column, word, "a line number may only stand at the beginning of the line")
    if dialect.name == "rs274ngc" and len(word) > 6:
        raise Reject(column, word, "a line number has at most five digits")
    if float(number.group()) > dialect.line_number_max:
        raise Reject(column, word, f"a line number may be at most {dialect.line_number_max}")
    return number.end()


def _run(text: str, at: int) -> str:
    """Return the letter at ``at`` and what follows it up to the next letter: the word as far as it can be told."""
    found = _RUN.match(text, at)
    return found.group() if found else ""


_NO_LETTER = {
    ")": "a closing bracket without an opening one",
    "#": "this controller knows no parameters and expressions: write the value itself",
    "O": "flow control (O words) is not read: write the moves out; the line of a program number may be left out",
    "%": "a percent sign must stand alone on its line, at the beginning and at the end of the program",
    "/": "the block delete sign may only stand at the beginning of the line",
    "D": "D is the place of a bit's radius in a table of tools, which this controller does not have; "
    "write the path of the bit's middle, and leave out G41 and G42 and D",
    "H": "H is the place of a tool's length in a table of tools, which this controller does not have; "
    "set the zero with the bit in the spindle, and leave out G43 and H",
} | dict.fromkeys("0123456789.+-", "a number without a letter before it")


def _why_no_letter(char: str) -> str:
    return _NO_LETTER.get(char) or NO_AXIS.get(char, "this letter or sign has no meaning here")


def _why_after(char: str) -> str:
    if char == ".":
        return "a number has at most one decimal point"
    return "a sign may only stand at the beginning of a number" if char in "+-" else _why_no_letter(char)
