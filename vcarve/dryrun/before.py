"""What an earlier program has cut before the rest of it is run: told by the cuts of both, whatever their comments say."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

import numpy as np

from vcarve.plane.arrays import Floats, Ints
from vcarve.program.moves import Motion, Moves

SAME_MM = 1e-4  # places that are one and the same, whichever way they were added up


def cut_before(earlier: Moves, rest: Moves) -> Moves | None:
    """Return the moves of an earlier program before its rest; ``None`` where the rest does not feed as its end, from its zero."""
    (there, whole), (_, left) = _feeds(earlier), _feeds(rest)
    first = len(whole) - len(left)
    zeros = [[one.value for one in moves.events if one.kind == "system"][-1:] for moves in (earlier, rest)]
    if (
        zeros[0] != zeros[1]
        or first < 0
        or not len(left)
        or not np.allclose(whole[first:], left, rtol=0.0, atol=SAME_MM)
    ):
        return None
    return _taken(earlier, int(there[first]))


def _feeds(moves: Moves) -> tuple[Ints, Floats]:
    """Return which moves feed, and of each where it leads from and to, and how it bends."""
    bend = np.column_stack([np.nan_to_num(moves.centre_mm), moves.sweep_rad])
    rows = np.flatnonzero(moves.told & (moves.motion != int(Motion.RAPID)))
    return rows, np.hstack([moves.known_start_mm, moves.end_mm, bend])[rows]


def _taken(moves: Moves, count: int) -> Moves:
    """Return the first moves of a program, without its events, in line 0: no line of the program that follows."""
    short: dict[str, Any] = {name: column[:count] for name, column in _columns(moves).items()}
    short |= {"lost": moves.lost[: count + 1], "line": np.zeros_like(moves.line[:count])}
    return replace(moves, **short, events=(), lines=0)


def followed(before: Moves, moves: Moves) -> Moves:
    """Return moves as they follow those cut before, which are of another program."""
    former = _columns(before) | {"lost": before.lost[:-1]}
    both: dict[str, Any] = {
        name: np.concatenate([former[name], own]) for name, own in _columns(moves).items()
    }
    return replace(moves, **both)


def _columns(moves: Moves) -> dict[str, Any]:
    """Return the columns of moves by their names."""
    values = ((one.name, getattr(moves, one.name)) for one in fields(moves))
    return {name: value for name, value in values if isinstance(value, np.ndarray)}
