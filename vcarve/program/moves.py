"""Moves: what a reader of the program's text alone believes the machine will do.

All lengths are millimetres in work coordinates as the program sees them at that moment, converted from inches
where the program says so.  Columns are aligned: entry ``i`` of every column belongs to move ``i``.

Events are everything that is not motion (spindle, dwell, coolant, stops, modes), each tied to the move it precedes.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import numpy.typing as npt

from vcarve.plane.arrays import Bools, Floats, ReadOnly
from vcarve.program.grammar import PLANES


class Motion(IntEnum):
    """The kind of a move."""

    RAPID = 0
    FEED = 1
    ARC_CW = 2
    ARC_CCW = 3
    PROBE = 4  # toward its end until the probe touches: where it stops is not known before


Plane = IntEnum("Plane", {"XY": 17, "XZ": 18, "YZ": 19})  # the plane an arc lies in, by the code that sets it


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something other than motion.

    ``kind`` is one of ``dwell`` (value seconds), ``spindle-cw``, ``spindle-ccw``, ``spindle-stop``, ``speed`` (value rpm),
    ``mist``, ``flood``, ``coolant-off``, ``pause``, ``optional-pause``, ``end``, ``tool-change``, ``units`` (value 20 or
    21), ``distance`` (90, 91), ``arc-distance`` (90.1, 91.1), ``plane`` (17 to 19), ``path`` (61, 61.1, 64),
    ``path-tolerance`` (value mm, the most that corners may be rounded; infinity for no bound), ``feed-mode`` (93, 94),
    ``system`` (value its number), ``origin`` (G10 sets one, value its number), ``shift`` (G92, G92.3) and ``shift-off``
    (G92.1, G92.2), and what is worth a word whatever it does: ``feed-with-units`` (F beside G20 or G21), ``bare-axes`` (axis
    words before any motion code), ``outside`` (``text`` is a code, letter or value outside the plain subset),
    ``long-number`` (``text`` is a word with more digits than one controller keeps, value by how much it changes there),
    ``active-comment`` (``text`` is a key of ``grammar.ACTIVE_COMMENTS``), ``switched`` (a line that begins with the block
    delete sign), ``semicolon`` (a comment after one), ``live-sign`` (a sign that one controller acts on at once),
    ``long-line`` (longer than one controller takes), ``carriage-return`` (not at a line's end), ``inverse-time-arc`` (an arc
    under G93), ``cancel-with-axes`` (G49 beside axis words), ``home-in-part`` (G28 or G30 naming some axes), ``unread``
    (lines after the program's end), and ``percent`` and ``byte-order-mark`` where the controller has none.
    ``before`` is the index of the move that follows it (the number of moves if none does).
    """

    kind: str
    line: int
    before: int
    value: float = 0.0
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Moves(ReadOnly):
    """Every motion of a program in order, and the events between them.

    Shapes: N moves, A axes; places are in columns named by ``axes``, and asked for by name (:meth:`start`, :meth:`end`).
    ``sweep_rad`` is the signed angle of an arc in its plane (positive counter-clockwise seen from the plane's positive
    normal), 0 for straight moves; ``centre_mm`` is NaN for straight moves.  ``feed_mm_min`` is the speed along the path in
    force (NaN for rapids); for inverse-time moves (G93) it is already length / time.  ``rpm`` is 0 while the spindle is off.
    A machine (G53, G28, G30) move has ``machine`` true: its place in work coordinates is unknown, and its start and end are
    given in machine coordinates as if the offsets the program does not set were zero.  Where an offset changes, a move starts
    elsewhere than the one before it ended.  ``lost`` says of which axes the text has not said where they are in work
    coordinates: its entry ``i`` before move ``i``, its last after the last move.  A probing move's end is where it is led to;
    what it moved is lost behind it.
    """

    axes: tuple[str, ...]
    motion: npt.NDArray[np.int8]  # (N,) values of Motion
    line: npt.NDArray[np.int32]  # (N,) program line, 1-based
    start_mm: Floats  # (N, A)
    end_mm: Floats  # (N, A)
    centre_mm: Floats  # (N, A)
    sweep_rad: npt.NDArray[np.float64]  # (N,)
    plane: npt.NDArray[np.int8]  # (N,) values of Plane
    feed_mm_min: npt.NDArray[np.float64]  # (N,)
    rpm: npt.NDArray[np.float64]  # (N,)
    machine: npt.NDArray[np.bool_]  # (N,)
    lost: Bools  # (N + 1, A)
    events: tuple[Event, ...]
    lines: int  # how many lines the program's text has

    def __len__(self) -> int:
        return len(self.motion)

    def columns(self, axes: str) -> list[int]:
        """Return which columns belong to axes, in the order asked for."""
        return [self.axes.index(axis) for axis in axes]

    def start(self, axes: str) -> Floats:
        """Return starts on one axis (N,), or on k axes (N, k)."""
        return _named(self.start_mm, self.columns(axes))

    def end(self, axes: str) -> Floats:
        """Return ends on one axis (N,), or on k axes (N, k)."""
        return _named(self.end_mm, self.columns(axes))

    def is_lost(self, axes: str) -> Bools:
        """Tell whether any of the axes is lost, before each move and after the last, shape (N + 1,)."""
        return np.asarray(self.lost[:, self.columns(axes)].any(axis=1))

    def is_found(self, axes: str) -> Bools:
        """Tell whether any of the axes is lost before a move and not after it, shape (N,)."""
        columns = self.columns(axes)
        return np.asarray((self.lost[:-1, columns] & ~self.lost[1:, columns]).any(axis=1))

    @property
    def told(self) -> Bools:
        """Whether the text alone says where a move goes, shape (N,): not of machine and probing moves."""
        return np.asarray(~self.machine & (self.motion != int(Motion.PROBE)))

    @property
    def known_start_mm(self) -> Floats:
        """Starts (N, A); of an axis whose place is only known from the move's end on, that end."""
        return np.where(self.lost[:-1] & ~self.lost[1:], self.end_mm, self.start_mm)

    @property
    def radius_mm(self) -> Floats:
        """Radius of each arc in its plane, measured at its start, shape (N,); 0 for straight moves."""
        radius = np.zeros(len(self))
        for plane, (u, v, _) in PLANES.items():
            mine = np.flatnonzero((self.sweep_rad != 0.0) & (self.plane == plane))
            arm = self.start_mm[mine] - self.centre_mm[mine]
            radius[mine] = np.hypot(*arm[:, self.columns(u + v)].T)
        return radius

    @property
    def length_mm(self) -> Floats:
        """Length along each move's path, helices included, shape (N,)."""
        delta = self.end_mm - self.start_mm
        length = np.sqrt((delta**2).sum(axis=1))
        flat = self.radius_mm * np.abs(self.sweep_rad)
        for plane, (_, _, normal) in PLANES.items():
            mine = np.flatnonzero((self.sweep_rad != 0.0) & (self.plane == plane))
            length[mine] = np.hypot(flat[mine], delta[mine, self.axes.index(normal)])
        return np.asarray(length)


def _named(places: Floats, columns: list[int]) -> Floats:
    return places[:, columns[0]] if len(columns) == 1 else places[:, columns]
