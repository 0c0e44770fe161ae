"""From the words of a line to a block: codes sorted into their groups, every other letter once, nothing left over.

The rules are those of NISTIR 6556 §3.3.5 (repeats), §3.4 (modal groups, one user of axis words) and tables 3 to 7.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field

from vcarve.program.grammar import (
    ARCS,
    AXES,
    LENGTH,
    MAX_M_WORDS,
    MOTION,
    NO_AXIS,
    NON_MODAL,
    REFUSED_G,
    REFUSED_M,
    WHOLE_NUMBER_SLACK,
    Dialect,
)
from vcarve.program.words import Line, Reject, Word

CANCEL = 800  # G80


@dataclass(slots=True)
class Block:
    """A checked line.  ``g`` and ``m`` give the code of each modal group; ``words`` every other letter's word.

    ``motion`` is the code that moves on this line, carried over or written; ``None`` when nothing moves.  ``where`` gives
    the word a code was written as.
    """

    g: dict[str, int] = field(default_factory=dict)
    m: dict[str, int] = field(default_factory=dict)
    words: dict[str, Word] = field(default_factory=dict)
    where: dict[str, Word] = field(default_factory=dict)
    motion: int | None = None

    def value(self, letter: str) -> float | None:
        """Return the value of a letter, or ``None``."""
        word = self.words.get(letter)
        return None if word is None else word.value

    def reject(self, key: str, reason: str) -> Reject:
        """Return a reject at a letter's word or a group's code, or at the line's first word."""
        word = self.words.get(key) or self.where.get(key)
        if word is None:
            word = next(iter(self.where.values()), None) or next(iter(self.words.values()))
        return Reject(word.column, word.text, reason)

    def whole(self, letter: str, least: int, most: int) -> int:
        """Return a letter's value where it must be a whole number within bounds (§3.3.2.1); raises :class:`Reject`."""
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


def block_of(line: Line, dialect: Dialect, motion_in_force: int | None) -> Block:
    """Return the block of a line; raises :class:`Reject` where it breaks a rule of the language."""
    block = Block()
    for word in line.words:
        if word.letter == "G":
            _sort_code(block, block.g, word, dialect.g_codes, REFUSED_G, dialect)
        elif word.letter == "M":
            if len(block.m) == MAX_M_WORDS:
                raise Reject(word.column, word.text, f"more than {MAX_M_WORDS} M words on one line")
            _sort_code(block, block.m, word, dialect.m_codes, REFUSED_M, dialect)
        elif word.letter in block.words:
            raise Reject(word.column, word.text, f"{word.letter} stands twice on this line")
        elif word.letter in NO_AXIS:
            raise Reject(word.column, word.text, NO_AXIS[word.letter])
        else:
            block.words[word.letter] = word
    _settle_motion(block, dialect, motion_in_force)
    _check_leftovers(block, dialect)
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
        why = (
            f": {refused[code]}" if abs(tenfold - code) < 10 * WHOLE_NUMBER_SLACK and code in refused else ""
        )
        raise Reject(word.column, word.text, f"{dialect.name} has no such code{why}")
    if code in refused:
        raise Reject(word.column, word.text, f"not carried out: {refused[code]}")
    if group in codes:
        if dialect.name != "linuxcnc" or group != MOTION or CANCEL not in (code, codes[group]):
            first = block.where[group]
            raise Reject(word.column, word.text, f"{first.text} and {word.text} must not stand on one line")
        if code == CANCEL:
            return  # LinuxCNC lets G80 stand beside another motion code, which then wins
    codes[group] = code
    block.where[group] = word


def _settle_motion(block: Block, dialect: Dialect, motion_in_force: int | None) -> None:
    """Decide what moves on this line (§3.4), and refuse lines with two users of axis words, or none."""
    written = block.g.get(MOTION)
    other = block.g.get(NON_MODAL)
    user = next((code for code in (other, block.g.get(LENGTH)) if code in dialect.axis_users), None)
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
        block.motion = motion_in_force
    elif dialect.name == "linuxcnc" and motion_in_force in ARCS and not block.words.keys().isdisjoint("IJK"):
        # LinuxCNC takes centre words alone, after an arc, for a full circle.
        block.motion = motion_in_force
    if other == 920 and not axes:
        raise block.reject(NON_MODAL, "G92 needs at least one axis word")
    if block.motion is not None and not axes and dialect.motion_needs_axes:
        raise block.reject(MOTION, "this code needs at least one axis word")


def _check_leftovers(block: Block, dialect: Dialect) -> None:
    """Refuse letters that nothing on the line gives a meaning to (table 3), and negative values where none may be."""
    codes = [code for group, code in block.g.items() if group != MOTION]
    if block.motion is not None:
        codes.append(block.motion)
    users = Counter(letter for code in codes for letter in dialect.uses.get(code, ""))
    for letter, word in block.words.items():
        if letter in "FSTN":
            if word.value < 0.0:
                raise Reject(word.column, word.text, f"{letter} must not be negative")
        elif letter not in AXES and users[letter] != 1:
            reason = "two codes of this line would both use" if users[letter] else "nothing on this line uses"
            raise Reject(word.column, word.text, f"{reason} {letter}")
