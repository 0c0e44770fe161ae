"""One line of text to words: comments off, blanks off, letters and numbers apart, every word with its column.

Words used here: a *word* is a letter and a number (NISTIR 6556 §3.3.2); a *reject* is a place on the line and the reason
why the line cannot be taken.
"""

from __future__ import annotations

import re
from types import MappingProxyType
from typing import NamedTuple

from vcarve.program.grammar import HARMLESS_LIVE, LIVE, Dialect
from vcarve.program.values import Parameters, ValueFault, kept_value, parameter_index, real_value

_LINE_NUMBER = re.compile(r"[0-9]+(?:\.[0-9]+)?")
_DIGITS = re.compile(r"[0-9]+")
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
        """Tell whether the value is not written as a number: a parameter, an expression, a function."""
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
    """A line taken apart; ``deleted`` says it begins with the block delete sign, ``settings`` are parameters it sets.

    ``semicolon`` says that the last of its comments stands after one, ``live`` that it holds a sign that one controller acts on
    at once; ``significant`` counts its characters without comments and blanks.
    """

    words: tuple[Word, ...]
    deleted: bool
    comments: tuple[str, ...]
    settings: tuple[tuple[int, float], ...] = ()
    semicolon: bool = False
    live: bool = False
    significant: int = 0


def _visible(char: str) -> bool:
    return char == "\t" or " " <= char <= "~"


def strip(raw: str, dialect: Dialect) -> tuple[str, list[int], tuple[str, ...], bool]:
    """The line without comments and blanks in upper case, the column of each character left, the comments, and whether the
    last of them stands after a semicolon.

    §3.3: blanks and tabs outside comments mean nothing, even inside a number; letters may be of either case.
    """
    grbl = dialect.limit_significant
    kept: list[str] = []
    columns: list[int] = []
    comments: list[str] = []
    opened = rest = -1
    for index, char in enumerate(raw):
        if grbl and (char in LIVE or ord(char) > 126):
            raise Reject(
                index + 1, char, "this controller acts on this character at once, even inside a comment"
            )
        if rest >= 0 or (grbl and char == HARMLESS_LIVE):
            continue
        if opened >= 0:
            if char == ")":
                comments.append(raw[opened + 1 : index])
                opened = -1
            elif char == "(" and not grbl:
                raise Reject(index + 1, "(", "comments must not nest")
            elif not _visible(char) and not (dialect.name == "linuxcnc" and ord(char) > 127):
                # §3.3.4: printable characters, blanks and tabs only; LinuxCNC takes any text there.
                raise Reject(index + 1, char, "this character is not allowed in a comment")
        elif char == "(":
            opened = index
        elif char == ";":
            rest = index  # §3.3.4 knows ( ) only, but no controller at hand refuses it
        elif char in " \t":
            continue
        elif not _visible(char):
            raise Reject(index + 1, char, "only plain ASCII characters may stand outside comments")
        else:
            kept.append(char)
            columns.append(index + 1)
    if opened >= 0:
        if not grbl:
            raise Reject(opened + 1, raw[opened:], "the comment is not closed on its line")
        # Grbl drops an unclosed comment to the end of the line without a word; so does this.
        comments.append(raw[opened + 1 :])
    if rest >= 0:
        comments.append(raw[rest + 1 :])
    return "".join(kept).upper(), columns, tuple(comments), rest >= 0


def take_apart(
    raw: str, dialect: Dialect, parameters: Parameters | None = _NONE_SET, *, skip_deleted: bool = False
) -> Line:
    """The words of one line (without its line end), or :class:`Reject`.

    ``parameters`` holds those the program has set so far.  With ``skip_deleted`` the words of a line that begins with
    the block delete sign are not looked at; its comments still have to be whole.
    """
    too_long = Reject(
        dialect.line_limit + 1,
        raw[dialect.line_limit :][:20],
        f"the line is longer than {dialect.line_limit} characters",
    )
    if len(raw) > LONGEST_LINE:
        raise too_long
    text, columns, comments, semicolon = strip(raw, dialect)
    grbl = dialect.limit_significant
    if dialect.limit_significant:
        significant = len(text) - text.count("/")
    else:
        significant = len(raw) if raw.isascii() else len(raw.encode("utf-8", "replace"))
    if significant > dialect.line_limit:
        raise too_long
    deleted = text.startswith("/")
    if deleted and not grbl and not raw.lstrip(" \t").startswith("/"):
        raise Reject(columns[0], "/", _why_no_letter("/"))
    if dialect.limit_significant and "/" in text:
        # Grbl drops the sign anywhere outside comments and always runs the line.
        pairs = [(char, column) for char, column in zip(text, columns, strict=True) if char != "/"]
        text, columns = "".join(char for char, _ in pairs), [column for _, column in pairs]
        deleted = False
    if deleted and skip_deleted:
        return Line((), True, comments, semicolon=semicolon)
    if dialect.name == "grbl-1.1":
        parameters = None
    at = 1 if deleted else 0
    words: list[Word] = []
    settings: list[tuple[int, float]] = []
    first = True
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
            elif letter == "N":
                value, at = _line_number(text, at, column, first, dialect)
                words.append(Word(letter, value, column, text[began:at]))
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
        first = False
    live = any(char in LIVE or char == HARMLESS_LIVE or ord(char) > 126 for char in raw)
    return Line(tuple(words), deleted, comments, tuple(settings), semicolon, live, len(text))


def _line_number(text: str, at: int, column: int, first: bool, dialect: Dialect) -> tuple[float, int]:
    """§3.3.1: N stands first, unsigned, with at most five digits; each controller has limits of its own."""
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
    return float(number.group()), number.end()


def _run(text: str, at: int) -> str:
    """The letter at ``at`` and what follows it up to the next letter: the word as far as it can be told."""
    end = at + 1
    while end < len(text) and not text[end].isalpha() and end - at < 20:
        end += 1
    return text[at:end]


def _why_no_letter(char: str) -> str:
    if char in "0123456789.+-":
        return "a number without a letter before it"
    if char == ")":
        return "a closing bracket without an opening one"
    if char == "#":
        return "this controller knows no parameters and expressions: write the value itself"
    if char == "O":
        return "flow control (O words) is not read: write the moves out; the line of a program number may be left out"
    if char == "%":
        return "a percent sign must stand alone on its line, at the beginning and at the end of the program"
    if char == "/":
        return "the block delete sign may only stand at the beginning of the line"
    return "this letter or sign has no meaning here"


def _why_after(char: str) -> str:
    if char == ".":
        return "a number has at most one decimal point"
    if char in "+-":
        return "a sign may only stand at the beginning of a number"
    return _why_no_letter(char)
