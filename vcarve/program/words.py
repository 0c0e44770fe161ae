"""One line of text to words, and words to a block.

A *word* is a letter and a number (NISTIR 6556 §3.3.2), found with comments and blanks taken off; a *reject* is a place on the
line and the reason why the line cannot be taken.  In a *block* codes are sorted into their groups, every other letter stands
once, and nothing is left over: §3.3.5 (repeats), §3.4 (modal groups, one user of axis words) and tables 3 to 7.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import NamedTuple

from vcarve.program import grammar as g
from vcarve.program.grammar import Dialect
from vcarve.program.values import Parameters, ValueFault, kept_value, parameter_index, real_value

_PART = re.compile(r"\([^)]*\)?|;.*|[^(;]+", re.DOTALL)
_LIVE = re.compile(f"[{''.join(g.LIVE)}]|[^\\x00-\\x7e]")
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
CANCEL = "G80"
# Characters; blanks and comments do not count for every controller, but they take memory here.
LONGEST_LINE = 10_000
_NONE_SET: Parameters = MappingProxyType({})
_NO_LETTER = g.NO_AXIS | {
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


class Reject(Exception):
    """A line that cannot be taken: the column, the word as written, and the reason."""

    def __init__(self, column: int, word: str, reason: str) -> None:
        self.column, self.word, self.reason = column, word, reason


class Word(NamedTuple):
    """A letter and its value; ``column`` is 1-based, ``text`` as written without blanks."""

    letter: str
    value: float
    column: int
    text: str

    def reject(self, reason: str) -> Reject:
        """Return a reject of this word."""
        return Reject(self.column, self.text, reason)


class Line(NamedTuple):
    """A line taken apart: its words, the parameters it sets, and kind and text of the events it is worth besides."""

    words: tuple[Word, ...]
    settings: tuple[tuple[int, float], ...]
    notes: tuple[tuple[str, str], ...]


def _strip(raw: str, dialect: Dialect) -> tuple[str, list[int], list[str]]:
    """Return the line without comments and blanks in upper case, the column of each character left, and the comments.

    §3.3: blanks and tabs outside comments mean nothing, even inside a number; letters may be of either case.
    """
    if dialect is g.GRBL and (live := _LIVE.search(raw)):
        reason = "this controller acts on this character at once, even inside a comment"
        raise Reject(live.start() + 1, live.group(), reason)
    # Grbl drops the sign of block delete anywhere outside comments and always runs the line.
    dropped = f" \t/{g.HARMLESS_LIVE}" if dialect is g.GRBL else " \t"
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
            if part[-1] != ")" and dialect is not g.GRBL:  # Grbl drops such a comment without a word
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
    if (len(text) if dialect is g.GRBL else len(raw.encode("utf-8", "replace"))) > limit:
        raise too_long
    deleted = text.startswith("/")
    if deleted and not raw.lstrip(" \t").startswith("/"):
        raise Reject(columns[0], "/", _NO_LETTER["/"])
    notes = [("switched", "")] if deleted else []
    if dialect is g.NIST and comments and comments[-1][0] == ";":
        # §3.3.4 knows round brackets only, but no controller at hand refuses it.
        notes.append(("semicolon", ""))
    active = [("active-comment", word) for comment in comments if (word := g.active_comment(comment[1:]))]
    if deleted and skip_deleted:
        return Line((), (), (*notes, *active))
    if dialect is g.GRBL:
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
            elif letter not in dialect.letters:
                reasons = _NO_LETTER | _NO_WORD | (_NO_MORE if words else {})
                reason = reasons.get(letter, "this letter or sign has no meaning here")
                raise Reject(column, _run(text, at), reason)
            else:
                if letter == "N":
                    at = _line_number(text, at, column, began == first, dialect)
                    value = float(text[began + 1 : at])
                else:
                    value, at = real_value(text, at + 1, parameters)
                    if dialect is g.GRBL:
                        value = kept_value(text[began + 1 : at])
                words.append(Word(letter, value, column, text[began:at]))
        except ValueFault as fault:
            # The letter is the place where the word begins; deep in an expression it is the value itself.
            inner = began if fault.at <= began + 1 else min(fault.at, len(text) - 1)
            raise Reject(columns[inner], _run(text, inner), fault.reason) from None
        if dialect is not g.GRBL and "(" in raw[column : columns[at - 1]]:
            raise Reject(column, text[began:at], "a comment must not stand inside a word")
    if dialect is not g.LINUXCNC and (g.HARMLESS_LIVE in raw or _LIVE.search(raw)):
        notes.append(("live-sign", ""))
    if dialect is g.NIST and len(text) > g.SHORTEST_LIMIT:
        notes.append(("long-line", ""))
    notes += [("outside", f"#{index}") for index, _ in settings]
    return Line(tuple(words), tuple(settings), (*notes, *active))


def _line_number(text: str, at: int, column: int, first: bool, dialect: Dialect) -> int:
    """Return the index after a line number (§3.3.1: first, unsigned, five digits; each controller has limits of its own)."""
    number = (_LINE_NUMBER if dialect is g.LINUXCNC else _DIGITS).match(text, at + 1)
    if number is None:
        raise Reject(column, _run(text, at), "a line number is digits without a sign")
    word = text[at : number.end()]
    if not first and dialect is not g.GRBL:
        raise Reject(column, word, "a line number may only stand at the beginning of the line")
    if dialect is g.NIST and len(word) > 6:
        raise Reject(column, word, "a line number has at most five digits")
    if float(number.group()) > dialect.line_number_max:
        raise Reject(column, word, f"a line number may be at most {dialect.line_number_max}")
    return number.end()


def _run(text: str, at: int) -> str:
    """Return the letter at ``at`` and what follows it up to the next letter: the word as far as it can be told."""
    found = _RUN.match(text, at)
    return found.group() if found else ""


@dataclass(slots=True)
class Block:
    """A checked line: the code of each modal group, and the word of each group and of every other letter.

    ``motion`` is the code that moves on this line, carried over or written; ``None`` when nothing moves.
    """

    codes: dict[str, str] = field(default_factory=dict)
    words: dict[str, Word] = field(default_factory=dict)
    motion: str | None = None

    def value(self, letter: str) -> float | None:
        """Return the value of a letter, or ``None``."""
        word = self.words.get(letter)
        return None if word is None else word.value

    def reject(self, key: str, reason: str) -> Reject:
        """Return a reject at a letter's word or a group's code, or at the line's first code or word."""
        return (self.words.get(key) or self.words[next(iter((*self.codes, *self.words)))]).reject(reason)

    def whole(self, letter: str, least: int, most: int) -> int:
        """Return a letter's value where it must be a whole number within bounds (§3.3.2.1); raises :class:`Reject`."""
        value = self.words[letter].value
        nearest = round(value)
        if abs(value - nearest) > g.WHOLE_NUMBER_SLACK:
            raise self.reject(letter, f"{letter} must be a whole number")
        if not least <= nearest <= most:
            raise self.reject(letter, f"{letter} must be from {least} to {most} here")
        return nearest

    @property
    def axes(self) -> tuple[str, ...]:
        """The axis letters on the line."""
        return tuple(letter for letter in g.AXES if letter in self.words)


def block_of(line: Line, dialect: Dialect, motion_in_force: str) -> Block:
    """Return the block of a line; raises :class:`Reject` where it breaks a rule of the language."""
    block = Block()
    for word in line.words:
        if word.letter in "GM":
            _sort_code(block, word, dialect)
        elif word.letter in block.words:
            raise word.reject(f"{word.letter} stands twice on this line")
        elif word.letter in g.NO_AXIS:
            raise word.reject(g.NO_AXIS[word.letter])
        else:
            block.words[word.letter] = word
    _settle_motion(block, dialect, motion_in_force)
    _check_leftovers(block, dialect)
    return block


def code_of(letter: str, value: float) -> str:
    """Return the code that a G or M word is nearest to, as it is written in the grammar."""
    return f"{letter}{round(value * 10.0) / 10.0:g}"


def _sort_code(block: Block, word: Word, dialect: Dialect) -> None:
    if word.letter == "M" and sum(code[0] == "M" for code in block.codes.values()) == g.MAX_M_WORDS:
        raise word.reject(f"more than {g.MAX_M_WORDS} M words on one line")
    code, tenfold = code_of(word.letter, word.value), word.value * 10.0
    off = abs(tenfold - round(tenfold)) > 10 * g.WHOLE_NUMBER_SLACK
    group = dialect.groups.get(code)
    # Grbl cuts a code's fraction to hundredths (gcode.c): what is not quite the next whole number is none.
    short = dialect is g.GRBL and round(100.0 * (word.value % 1.0)) == 100
    if group is None or word.value < 0 or off or short:
        why = f": {g.REFUSED[code]}" if code in g.REFUSED and not off else ""
        raise word.reject(f"{dialect.name} has no such code{why}")
    if code in g.REFUSED:
        raise word.reject(f"not carried out: {g.REFUSED[code]}")
    if group in block.codes:
        # LinuxCNC lets G80 stand beside another motion code, which then wins.
        if dialect is not g.LINUXCNC or group != "motion" or CANCEL not in (code, block.codes[group]):
            first = block.words[group]
            raise word.reject(f"{first.text} and {word.text} must not stand on one line")
        if code == CANCEL:
            return
    block.codes[group] = code
    block.words[group] = word


def _settle_motion(block: Block, dialect: Dialect, motion_in_force: str) -> None:
    """Decide what moves on this line (§3.4), and refuse lines with two users of axis words, or none."""
    written, other, axes = block.codes.get("motion"), block.codes.get("non-modal"), block.axes
    user = other in g.AXIS_USERS or (dialect is g.GRBL and "length" in block.codes)
    if written is not None and written != CANCEL and user:
        raise block.reject("motion", "two codes of this line both want its axis words")
    if axes and (written or motion_in_force) == CANCEL and (not user or dialect is g.GRBL):
        raise block.reject(axes[0], "axis words are an error while G80 is in force")
    if written is not None:
        block.motion = None if written == CANCEL else written
    elif not user and axes:
        if not motion_in_force:
            raise block.reject(axes[0], "axis words before any G0, G1, G2 or G3")
        block.motion = motion_in_force
    elif dialect is g.LINUXCNC and motion_in_force in g.ARCS and not block.words.keys().isdisjoint("IJK"):
        # LinuxCNC takes centre words alone, after an arc, for a full circle.
        block.motion = motion_in_force
    if other == "G92" and not axes:
        raise block.reject("non-modal", "G92 needs at least one axis word")
    if block.motion is not None and not axes and dialect is g.NIST:  # §3.5.1, §3.5.2
        raise block.reject("motion", "this code needs at least one axis word")


def _check_leftovers(block: Block, dialect: Dialect) -> None:
    """Refuse letters that nothing on the line gives a meaning to (table 3), and negative values where none may be."""
    codes = [code for group, code in block.codes.items() if group != "motion"] + [block.motion or ""]
    used = "".join(dialect.uses.get(code, "") for code in codes)
    for letter, word in block.words.items():
        if letter in "FSTN":
            if word.value < 0.0:
                raise word.reject(f"{letter} must not be negative")
        elif len(letter) == 1 and letter not in g.AXES and used.count(letter) != 1:
            users = "two codes of this line would both use" if letter in used else "nothing on this line uses"
            raise word.reject(f"{users} {letter}")
