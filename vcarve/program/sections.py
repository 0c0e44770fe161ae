"""Sections: parts of a program that each stand alone, and how they are joined to one text.

A section says every word it needs.  What it may count on is no more than this: the modes of the opening hold, the spindle turns,
and the bit is above the piece, wherever it is across.  It leaves the bit lifted.  So sections can follow one another in any
choice and order; joining them leaves out the words that are still in force.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple


class InForce(NamedTuple):
    """What the controller keeps from line to line: a motion word, the numbers of F and of Z; empty where nobody knows."""

    motion: str = ""
    feed: str = ""
    z: str = ""


UNKNOWN = InForce()


class Move(NamedTuple):
    """A line that moves, with all its words: G0 to G3, the words of X, Y and an arc's centre, the numbers of Z and F.

    ``z`` is empty for a move at the height where the bit is, ``feed`` for a rapid.
    """

    motion: str
    across: str = ""
    z: str = ""
    feed: str = ""


@dataclass(frozen=True, slots=True)
class Section:
    """Moves, and lines that stand as they are: comments, modes, spindle and stops."""

    steps: tuple[Move | str, ...]

    def lines(self, after: InForce = UNKNOWN) -> tuple[list[str], InForce]:
        """Return the section's text behind what ``after`` says is in force, and what is in force behind it.

        A move to the height where the bit is, and nowhere else, gets no line.
        """
        lines: list[str] = []
        motion, feed, z = after
        for step in self.steps:
            if isinstance(step, str):
                lines.append(step)
                continue
            code, words, height, speed = step
            if height and height != z:
                z = height
                words = f"{words} Z{height}" if words else f"Z{height}"
            if not words:
                continue
            if code != motion:
                motion = code
                words = f"{code} {words}"
            if speed and speed != feed:
                feed = speed
                words = f"{words} F{speed}"
            lines.append(words)
        return lines, InForce(motion, feed, z)


def joined(sections: Iterable[Section]) -> str:
    """Return sections as one text, lines ended by a single line feed."""
    text: list[str] = []
    state = UNKNOWN
    for section in sections:
        lines, state = section.lines(state)
        text += lines
    return "\n".join(text) + "\n"
