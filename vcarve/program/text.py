"""What a program's text is made of: numbers, comments, moves, and sections joined to one text.

Numbers are plain decimals: no exponent, no plus sign, no minus zero, no needless zeros.  Comments are such that no controller
can take them for anything else.

A section says every word it needs.  What it may count on is no more than this: the modes of the opening hold, the spindle turns,
and the bit is above the piece, wherever it is across.  It leaves the bit lifted.  So sections can follow one another in any
choice and order; joining them leaves out the words that are still in force.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence
from functools import lru_cache
from itertools import chain
from textwrap import wrap
from typing import NamedTuple

import numpy as np

from vcarve.plane.arrays import Ints
from vcarve.program.grammar import ACTIVE_COMMENTS

LONGEST = 76  # with brackets; the tightest controller takes lines of 79 characters
# Some controllers act on these even inside comments, or end the comment at them.
FORBIDDEN = frozenset("();?!~%")
# No line of a comment begins with one of these words, whatever follows it and however it is spaced.
ACTIVE = tuple(word.rstrip(",") for word in ACTIVE_COMMENTS)
# Signs of our own sentences and of people's titles that have a plain spelling.
SPELLING = str.maketrans(
    {
        ";": ",", "%": " percent", "×": "x", "±": "+/-", "°": " deg", "′": "'", "″": '"', "–": "-", "—": "-", "−": "-",
        "“": '"', "”": '"', "‘": "'", "’": "'", "µ": "u", "½": "1/2", "¼": "1/4", "¾": "3/4",
        "ß": "ss", "ø": "o", "Ø": "O", "æ": "ae", "œ": "oe", "ł": "l",
    }
)  # fmt: skip

_BRACKETED = re.compile(r"\s+\(([^()]*\w[^()]*)\)(?=(\s+\w)?)")


def plain_text(text: str) -> str:
    """Return text as printable ASCII without ``( ) ; ? ! ~ %`` or line breaks.

    What was in brackets stands between commas; accents are dropped, and what has no plain spelling becomes a blank.
    """
    text = _BRACKETED.sub(lambda found: f", {found[1]}" + ("," if found[2] else ""), text)
    signs = unicodedata.normalize("NFKD", text.translate(SPELLING))
    bare = (sign for sign in signs if not unicodedata.combining(sign))
    plain = (sign if " " <= sign <= "~" and sign not in FORBIDDEN else " " for sign in bare)
    return " ".join("".join(plain).split())


def comment(label: str, text: str = "") -> list[str]:
    """Return comment lines ``(label: text)``, wrapped at blanks so that each fits every controller's line."""
    words = plain_text(text)
    head = _inert(plain_text(label) + (":" if words else ""))
    lines = wrap(f"{head} {words}", LONGEST - 2, subsequent_indent="  ", break_on_hyphens=False)
    return [f"({_inert(line)})" for line in lines]


def _inert(line: str) -> str:
    """Return a comment's line with a dash before it where a controller would act on its first word."""
    return f"- {line.lstrip()}" if "".join(line.split()).upper().startswith(ACTIVE) else line


@lru_cache(maxsize=1 << 16)  # a lattice has few coordinates, and each is written many times
def decimal(count: int, decimals: int) -> str:
    """Return ``count`` steps of ``10 ** -decimals`` as a decimal number."""
    sign = "-" if count < 0 else ""
    whole, part = divmod(abs(count), 10**decimals)
    if part == 0:
        return f"{sign}{whole}"
    return f"{sign}{whole}.{part:0{decimals}d}".rstrip("0")


def steps(nm: Ints, decimals: int, *, inch: bool = False) -> Ints:
    """Return lengths in nanometres as whole steps of the last decimal written; shape as given.

    Halves go up, below zero as well (-0.5 becomes 0): a line that is moved by whole steps keeps its shape to the last
    digit.
    """
    unit = 25_400_000 if inch else 1_000_000
    scale = 10**decimals
    # Whole numbers throughout: floor((nm * scale) / unit + 1/2).
    return np.asarray((2 * nm * scale + unit) // (2 * unit), dtype=np.int64)


def plain(value: float, decimals: int) -> str:
    """Return a float rounded to ``decimals`` as a plain decimal number; it must be finite."""
    return decimal(round(value * 10**decimals), decimals)


class Move(NamedTuple):
    """A line that moves, with all its words: G0 to G3, the words of X, Y and an arc's centre, the numbers of Z and F.

    ``z`` is empty for a move at the height where the bit is, ``feed`` for a rapid.
    """

    motion: str
    across: str = ""
    z: str = ""
    feed: str = ""


Section = Sequence[Move | str]  # moves, and lines that stand as they are: comments, modes, spindle and stops


def joined(sections: Iterable[Section]) -> str:
    """Return sections as one text, lines ended by a single line feed.

    A move to the height where the bit is, and nowhere else, gets no line.
    """
    lines: list[str] = []
    motion = z = feed = ""  # in force; empty where nobody knows
    for step in chain.from_iterable(sections):
        if isinstance(step, str):
            lines.append(step)
            continue
        words = step.across
        if step.z and step.z != z:
            z = step.z
            words = f"{words} Z{z}" if words else f"Z{z}"
        if not words:
            continue
        if step.motion != motion:
            motion = step.motion
            words = f"{motion} {words}"
        if step.feed and step.feed != feed:
            feed = step.feed
            words = f"{words} F{feed}"
        lines.append(words)
    return "\n".join(lines) + "\n"
