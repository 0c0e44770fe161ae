"""What an earlier program has cut before the rest of it is run: told by the cuts of both, whatever their comments say."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import numpy as np

from vcarve.plane.arrays import Floats, Ints
from vcarve.program.moves import Motion, Moves

SAME_MM = 1e-4  # cuts that are one and the same, whichever way their places were added up


def cut_before(earlier: Moves, rest: Moves) -> Moves | None:
    """Return the moves of an earlier program before its rest; ``None`` where the rest's feeds are not its last ones."""
    (there, whole), (_, left) = _feeds(earlier), _feeds(rest)
    first = len(whole) - len(left)
    if first < 0 or not len(left) or not np.allclose(whole[first:], left, rtol=0.0, atol=SAME_MM):
        return None
    return taken(earlier, int(there[first]))


def _feeds(moves: Moves) -> tuple[Ints, Floats]:
    """Return which moves feed, and of each where it leads from and to, and how it bends."""
    bend = np.column_stack([np.nan_to_num(moves.centre_mm), moves.sweep_rad])
    rows = np.flatnonzero(moves.told & (moves.motion != int(Motion.RAPID)))
    return rows, np.hstack([moves.known_start_mm, moves.end_mm, bend])[rows]


def taken(moves: Moves, count: int) -> Moves:
    """Return the first moves of a program, without its events, in line 0: no line of the program that follows."""
    columns = {f.name: getattr(moves, f.name) for f in fields(moves)}
    short = {name: column[:count] for name, column in columns.items() if isinstance(column, np.ndarray)}
    short |= {"lost": moves.lost[: count + 1], "line": np.zeros_like(moves.line[:count])}
    return Moves(**(columns | short | {"events": (), "lines": 0}))


def followed(before: Moves, moves: Moves) -> Moves:
    """Return moves as they follow those cut before, which are of another program."""
    both: dict[str, Any] = {}
    for name in (f.name for f in fields(moves)):
        a, b = getattr(before, name), getattr(moves, name)
        both[name] = np.concatenate([a, b]) if isinstance(a, np.ndarray) else b
    return Moves(**(both | {"lost": np.concatenate([before.lost[:-1], moves.lost])}))
