"""What of a program's moves reaches into the wood, cut into short strokes.

Glossary
stroke    a short piece of path below the top of the piece: a line, level or sloping, or a level arc
level     at one depth all along
reach     half the width of the widest groove a stroke cuts

Places are piece coordinates: origin at the piece's centre, Y to the back, Z 0 at its top.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vcarve.dryrun.arcs import chords_within, laid
from vcarve.dryrun.setup import Setup
from vcarve.dryrun.tip import Tip
from vcarve.plane.arcs import boxes, turned
from vcarve.plane.arrays import Columns, Floats, Ints
from vcarve.program.moves import Moves, Plane

STROKE_MM = 5.0  # longer moves are parted, so that each stroke only meets a narrow band of the surface
HELIX_SAG_MM = 1e-4  # helices and upright arcs become chords that stay this near: far below any grid step
FLAT = 1e-9  # from this bulge on an arc is no line: far below any grid step
WIDEST_ARC_RAD = 0.5 * np.pi  # arcs are parted at least so often


@dataclass(frozen=True, slots=True, kw_only=True)
class Strokes(Columns):
    """Curves (n, 5), see ``plane.arcs``, their heights at both ends (n, 2), and half of the width of their grooves (n,).

    Arcs are level; what stands upright cuts as its lowest place.
    """

    curve: Floats
    z_mm: Floats
    reach_mm: Floats

    def box(self) -> tuple[Floats, Floats]:
        """Return lowest and highest X and Y each stroke can touch, two arrays (n, 2)."""
        low, high = np.hsplit(boxes(self.curve), 2)
        return low - self.reach_mm[:, None], high + self.reach_mm[:, None]


def strokes(moves: Moves, tip: Tip, setup: Setup) -> Strokes:
    """Return every stroke of a program, rapids included: whatever moves below the top cuts.

    Moves in machine coordinates and others whose end is not known are left out; of those whose start is not known only the
    end cuts.
    """
    start, end, sweep = setup.on_piece(moves.known_start_mm), setup.on_piece(moves.end_mm), moves.sweep_rad
    low, arc = np.minimum(start[:, 2], end[:, 2]), sweep != 0.0
    chord = end - start
    helix = arc & ((moves.plane != Plane.XY) | (chord[:, 2] != 0.0))
    slope = helix | ((chord[:, 2] != 0.0) & chord[:, :2].any(axis=1))
    # An upright arc may dip below both its ends.
    which = np.flatnonzero(((low < 0.0) | helix) & moves.told & ~moves.lost[1:].any(axis=1))
    level = which[~slope[which]]
    path = np.column_stack([start[level, :2], end[level, :2], sweep[level]])
    which = np.concatenate([which[slope[which]], level[_deepest(path, low[level])]])

    length = np.hypot(*chord[which, :2].T)
    length[arc[which]] = (np.abs(sweep) * moves.radius_mm)[which[arc[which]]]
    count = np.ceil(np.maximum(length / STROKE_MM, np.abs(sweep[which]) / WIDEST_ARC_RAD))
    many = np.where(helix[which], chords_within(moves, which, HELIX_SAG_MM), np.maximum(count, 1))
    owner, curve, z = laid(moves, which, many.astype(np.int64), setup)
    upright = (curve[:, :2] == curve[:, 2:4]).all(axis=1)
    curve[helix[owner] | upright | (np.abs(curve[:, 4]) < FLAT), 4] = 0.0
    z[upright] = z[upright].min(axis=1, keepdims=True)
    made = Strokes(curve=curve, z_mm=z, reach_mm=tip.reach_mm(-z.min(axis=1)))
    return made.take(z.min(axis=1) < 0.0)


def _deepest(path: Floats, z_mm: Floats) -> Ints:
    """Return the rows that are the lowest along their path, either way: levels above and recuts change nothing."""
    back = (path[:, 0] > path[:, 2]) | ((path[:, 0] == path[:, 2]) & (path[:, 1] > path[:, 3]))
    key = np.where(back[:, None], turned(path), path)
    order: Ints = np.lexsort((z_mm, *key.T))
    return np.asarray(order[(np.diff(key[order], axis=0, prepend=np.nan) != 0.0).any(axis=1)])
