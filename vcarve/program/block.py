"""From the words of a line to a block: codes sorted into their groups, every other letter once, nothing left over.

The rules are those of NISTIR 6556 §3.3.5 (repeats), §3.4 (modal groups, one user of axis words) and tables 3 to 7.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from vcarve.program.grammar import (
    ARCS,
    AXES,
    AXIS_USERS,
    GRBL,
    LINUXCNC,
    MAX_M_WORDS,
    NIST,
    NO_AXIS,
    REFUSED,
    WHOLE_NUMBER_SLACK,
    Dialect,
)
from vcarve.program.words import Line, Reject, Word

CANCEL = "G80"


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
        word = self.words.get(key) or self.words[next(iter((*self.codes, *self.words)))]
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


def block_of(line: Line, dialect: Dialect, motion_in_force: str) -> Block:
    """Return the block of a line; raises :class:`Reject` where it breaks a rule of the language."""
    block = Block()
    for word in line.words:
        if word.letter in "GM":
            _sort_code(block, word, dialect)
        elif word.letter in block.words:
            raise Reject(word.column, word.text, f"{word.letter} stands twice on this line")
        elif word.letter in NO_AXIS:
            raise Reject(word.column, word.text, NO_AXIS[word.letter])
        else:
            block.words[word.letter] = word
    _settle_motion(block, dialect, motion_in_force)
    _check_leftovers(block, dialect)
    return block


def code_of(letter: str, value: float) -> str:
    """Return the code that a G or M word is nearest to, as it is written in the grammar."""
    return f"{letter}{round(value * 10.0) / 10.0:g}"


def _sort_code(block: Block, word: Word, dialect: Dialect) -> None:
    if word.letter == "M" and sum(code[0] == "M" for code in block.codes.values()) == MAX_M_WORDS:
        raise Reject(word.column, word.text, f"more than {MAX_M_WORDS} M words on one line")
    code, tenfold = code_of(word.letter, word.value), word.value * 10.0
    off = abs(tenfold - round(tenfold)) > 10 * WHOLE_NUMBER_SLACK
    group = dialect.groups.get(code)
    # Grbl cuts a code's fraction to hundredths (gcode.c): what is not quite the next whole number is none.
    short = dialect is GRBL and round(100.0 * (word.value % 1.0)) == 100
    if group is None or word.value < 0 or off or short:
        why = f": {REFUSED[code]}" if code in REFUSED and not off else ""
        raise Reject(word.column, word.text, f"{dialect.name} has no such code{why}")
    if code in REFUSED:
        raise Reject(word.column, word.text, f"not carried out: {REFUSED[code]}")
    if group in block.codes:
        # LinuxCNC lets G80 stand beside another motion code, which then wins.
        if dialect is not LINUXCNC or group != "motion" or CANCEL not in (code, block.codes[group]):
            first = block.words[group]
            raise Reject(word.column, word.text, f"{first.text} and {word.text} must not stand on one line")
        if code == CANCEL:
            return
    block.codes[group] = code
    block.words[group] = word


def _settle_motion(block: Block, dialect: Dialect, motion_in_force: str) -> None:
    """Decide what moves on this line (§3.4), and refuse lines with two users of axis words, or none."""
    written, other, axes = block.codes.get("motion"), block.codes.get("non-modal"), block.axes
    user = other in AXIS_USERS or (dialect is GRBL and "length" in block.codes)
    if written is not None and written != CANCEL and user:
        raise block.reject("motion", "two codes of this line both want its axis words")
    if axes and (written or motion_in_force) == CANCEL and (not user or dialect is GRBL):
        raise block.reject(axes[0], "axis words are an error while G80 is in force")
    if written is not None:
        block.motion = None if written == CANCEL else written
    elif not user and axes:
        if not motion_in_force:
            raise block.reject(axes[0], "axis words before any G0, G1, G2 or G3")
        block.motion = motion_in_force
    elif dialect is LINUXCNC and motion_in_force in ARCS and not block.words.keys().isdisjoint("IJK"):
        # LinuxCNC takes centre words alone, after an arc, for a full circle.
        block.motion = motion_in_force
    if other == "G92" and not axes:
        raise block.reject("non-modal", "G92 needs at least one axis word")
    if block.motion is not None and not axes and dialect is NIST:  # §3.5.1, §3.5.2
        raise block.reject("motion", "this code needs at least one axis word")


def _check_leftovers(block: Block, dialect: Dialect) -> None:
    """Refuse letters that nothing on the line gives a meaning to (table 3), and negative values where none may be."""
    codes = [code for group, code in block.codes.items() if group != "motion"] + [block.motion or ""]
    used = "".join(dialect.uses.get(code, "") for code in codes)
    for letter, word in block.words.items():
        if letter in "FSTN":
            if word.value < 0.0:
                raise Reject(word.column, word.text, f"{letter} must not be negative")
        elif len(letter) == 1 and letter not in AXES and used.count(letter) != 1:
            reason = (
                "two codes of this line would both use" if letter in used else "nothing on this line uses"
            )
            raise Reject(word.column, word.text, f"{reason} {letter}")
