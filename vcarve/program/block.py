"""From the words of a line to a block: codes sorted into their groups, every other letter once, nothing left over.

The rules are those of NISTIR 6556 §3.3.5 (repeats), §3.4 (modal groups, one user of axis words) and tables 3 to 7.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from vcarve.program.grammar import (
    ARCS,
    AXES,
    MAX_M_WORDS,
    MOTION,
    NON_MODAL,
    REFUSED_G,
    REFUSED_M,
    ROTARY,
    USES_G,
    WHOLE_NUMBER_SLACK,
    Dialect,
)
from vcarve.program.words import Line, Reject, Word

CANCEL = 800  # G80


@dataclass(slots=True)
class Block:
    """A checked line.  ``g`` and ``m`` give the code of each modal group; ``words`` every other letter's word.

    ``motion`` is the code that moves on this line, carried over or written; ``None`` when nothing moves.  ``carried``
    says it was carried over.  ``where`` gives the word a code was written as.
    """

    g: dict[str, int]
    m: dict[str, int]
    words: dict[str, Word]
    where: dict[str, Word]
    motion: int | None = None
    carried: bool = False

    def value(self, letter: str) -> float | None:
        """The value of a letter, or ``None``."""
        word = self.words.get(letter)
        return None if word is None else word.value

    def reject(self, key: str, reason: str) -> Reject:
        """A reject at a letter's word or a group's code, or at the line's first word."""
        word = self.words.get(key) or self.where.get(key)
        if word is None:
            word = next(iter(self.where.values()), None) or next(iter(self.words.values()))
        return Reject(word.column, word.text, reason)

    def whole(self, letter: str, least: int, most: int) -> int:
        """A letter's value where it must be a whole number within bounds (§3.3.2.1), or :class:`Reject`."""
        value = self.words[letter].value
        nearest = round(value)
        if abs(value - nearest) > WHOLE_NUMBER_SLACK:
            raise self.reject(letter, f"{letter} must be a whole number")
        if not least <= nearest <= most:
            raise self.reject(letter, f"{letter} must be from {least} to {most} here")
        return nearest

    @property
    def axes(self) -> tuple[str, ...]:
        """The axis letters on the line."""
        return tuple(letter for letter in AXES if letter in self.words)


def sort(line: Line, dialect: Dialect) -> Block:
    """Sort the words of a line into a block; the motion is not settled yet."""
    block = Block({}, {}, {}, {})
    stops = 0
    for word in line.words:
        if word.letter == "G":
            _sort_code(block, block.g, word, dialect.g_codes, REFUSED_G, dialect)
        elif word.letter == "M":
            stops += 1
            if stops > MAX_M_WORDS:
                raise Reject(word.column, word.text, f"more than {MAX_M_WORDS} M words on one line")
            _sort_code(block, block.m, word, dialect.m_codes, REFUSED_M, dialect)
        elif word.letter in block.words:
            raise Reject(word.column, word.text, f"{word.letter} stands twice on this line")
        elif word.letter in ROTARY or word.letter in "UVW":
            raise Reject(word.column, word.text, f"this machine has no axis {word.letter}")
        else:
            block.words[word.letter] = word
    return block


def _sort_code(
    block: Block,
    codes: dict[str, int],
    word: Word,
    known: Mapping[int, str],
    refused: Mapping[int, str],
    dialect: Dialect,
) -> None:
    tenfold = word.value * 10.0
    code = round(tenfold)
    group = known.get(code)
    # Grbl cuts a code's fraction to hundredths (gcode.c): what is not quite the next whole number is none.
    short = dialect.name == "grbl-1.1" and round(100.0 * (word.value % 1.0)) == 100
    if group is None or word.value < 0 or abs(tenfold - code) > 10 * WHOLE_NUMBER_SLACK or short:
        raise Reject(word.column, word.text, f"{dialect.name} has no such code")
    reason = refused.get(code)
    if reason is not None:
        raise Reject(word.column, word.text, f"not carried out: {reason}")
    if group in codes:
        if dialect.name == "linuxcnc" and group == MOTION and CANCEL in (code, codes[group]):
            # LinuxCNC lets G80 stand beside another motion code, which then wins.
            if code == CANCEL:
                return
        else:
            first = block.where[group]
            raise Reject(word.column, word.text, f"{first.text} and {word.text} must not stand on one line")
    codes[group] = code
    block.where[group] = word


def settle_motion(block: Block, dialect: Dialect, motion_in_force: int | None) -> None:
    """Decide what moves on this line (§3.4), and refuse lines with two users of axis words, or none."""
    written = block.g.get(MOTION)
    other = block.g.get(NON_MODAL)
    user = other if other in dialect.axis_users else None
    if user is None and "length" in block.g and block.g["length"] in dialect.axis_users:
        user = block.g["length"]
    axes = block.axes
    if written is not None and written != CANCEL and user is not None:
        raise block.reject(MOTION, "two codes of this line both want its axis words")
    effective = motion_in_force if written is None else written
    if axes and effective == CANCEL and (user is None or dialect.name == "grbl-1.1"):
        raise block.reject(axes[0], "axis words are an error while G80 is in force")
    if written is not None:
        block.motion = None if written == CANCEL else written
    elif user is None and axes:
        if motion_in_force is None:
            raise block.reject(axes[0], "axis words before any G0, G1, G2 or G3")
        block.motion, block.carried = motion_in_force, True
    elif (
        dialect.name == "linuxcnc"
        and motion_in_force in ARCS
        and any(letter in block.words for letter in "IJK")
    ):
        # LinuxCNC takes centre words alone, after an arc, for a full circle.
        block.motion, block.carried = motion_in_force, True
    if other == 920 and not axes:
        raise block.reject(NON_MODAL, "G92 needs at least one axis word")
    if block.motion is not None and not axes and dialect.motion_needs_axes:
        raise block.reject(MOTION, "this code needs at least one axis word")


def check_leftovers(block: Block, dialect: Dialect) -> None:
    """Refuse letters that nothing on the line gives a meaning to (table 3), and negative values where none may be."""
    codes = [code for group, code in block.g.items() if group != MOTION]
    if block.motion is not None:
        codes.append(block.motion)
    users: dict[str, int] = {}
    for code in codes:
        for letter in _letters(code, dialect):
            users[letter] = users.get(letter, 0) + 1
    for letter, word in block.words.items():
        if letter in "FSTN":
            if word.value < 0.0:
                raise Reject(word.column, word.text, f"{letter} must not be negative")
            continue
        if letter in AXES:
            continue
        if letter not in users:
            raise Reject(word.column, word.text, f"nothing on this line uses {letter}")
        if users[letter] > 1:
            raise Reject(word.column, word.text, f"two codes of this line would both use {letter}")


def _letters(code: int, dialect: Dialect) -> frozenset[str]:
    letters = USES_G.get(code, frozenset())
    if dialect.name == "linuxcnc":
        if code in ARCS:
            return letters | {"P"}  # whole turns
        if code == 640:
            return letters | {"P", "Q"}
    elif code == 640:
        return frozenset()
    return letters
