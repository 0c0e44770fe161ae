"""A program that cuts in several places, each with a work offset of its own, seen from the first of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from vcarve.program.moves import Moves


def gathered(moves: Moves, origins_mm: Mapping[int, tuple[float, ...]]) -> Moves:
    """Return moves as if all were told from one place: where the zeros of the systems, by their numbers, are known from.

    The moves are those of a reader that was told the same ``origins_mm``, so that none starts elsewhere than the one before it
    ended.  The changes of system stay among the events, as changes to the same.
    """
    system = np.ones(len(moves), dtype=np.int64)
    for event in moves.events:
        if event.kind == "system":
            system[event.before :] = int(event.value)
    none = (0.0,) * len(moves.axes)
    table = np.array([origins_mm.get(number, none) for number in range(int(system.max(initial=1)) + 1)])
    by = table[system]
    return replace(
        moves,
        start_mm=moves.start_mm + by,
        end_mm=moves.end_mm + by,
        centre_mm=moves.centre_mm + by,
        events=tuple(replace(one, value=1.0) if one.kind == "system" else one for one in moves.events),
    )
