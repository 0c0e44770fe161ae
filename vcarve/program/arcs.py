"""Arcs: from the words of a G2 or G3 line to a centre and a signed angle (NISTIR 6556 §3.5.3).

Everything is worked out in the arc's plane, places as u + vi of its axes, such that positive angles are counter-clockwise seen
from the plane's positive normal (``grammar.PLANES``).  What cannot be an arc is answered with a sentence instead of a result.
"""

from __future__ import annotations

from cmath import phase
from math import hypot, sqrt, tau

from vcarve.program.grammar import AXES, GRBL, LEAST_RADIUS_MM, LINUXCNC, PLANES, Dialect
from vcarve.program.state import State, Vector
from vcarve.program.words import Block

MOST_TURNS = 100  # no groove is gone round so often, and a slip must not fill the memory


def sweep_rad(
    start: complex, end: complex, centre: complex, *, clockwise: bool, full_rad: float = 0.0
) -> float:
    """Return the signed angle from start to end about the centre; equal ends, or nearer than ``full_rad``, are a full turn."""
    sign = -1.0 if clockwise else 1.0
    angle = sign * (phase(end - centre) - phase(start - centre)) % tau
    return sign * (angle + tau if angle <= full_rad or start == end else angle)


def centre_arc(
    start: complex, end: complex, centre: complex, *, clockwise: bool, inch: bool, dialect: Dialect
) -> float | str:
    """Return the signed sweep of an arc given by its centre (§3.5.3.2), or why it is none."""
    first, last = abs(start - centre), abs(end - centre)
    if first < LEAST_RADIUS_MM or last < LEAST_RADIUS_MM:
        return "the arc's radius is zero"
    slack = dialect.arc_slack_inch_mm if inch else dialect.arc_slack_mm
    gap = abs(first - last)
    # The last nanometre is rounding in the decimal words themselves, not in the arc.
    if gap > slack * dialect.arc_slack_far + 1e-9 or (
        gap > slack + 1e-9 and gap > dialect.arc_slack_share * max(first, last)
    ):
        radii = f"{first:.5f} mm at the start and {last:.5f} mm at the end"
        return f"the arc does not close: its radius is {radii}"
    return sweep_rad(start, end, centre, clockwise=clockwise, full_rad=dialect.full_circle_rad)


def radius_arc(
    start: complex, end: complex, radius_mm: float, *, clockwise: bool, slack_mm: float
) -> tuple[complex, float] | str:
    """Return centre and signed sweep of an arc given by its radius (§3.5.3.1), or why it is none.

    A positive radius takes the arc of at most half a turn, a negative one the other.  ``slack_mm`` is how much the
    radius may fall short of half the chord; the arc is then half a turn.
    """
    chord, size = end - start, abs(radius_mm)
    half = 0.5 * abs(chord)
    if half == 0.0:
        return "an arc given by its radius must end elsewhere than it starts"
    if size < LEAST_RADIUS_MM:
        return "the arc's radius is zero"
    if half - size > slack_mm:
        return f"the radius is too short: the ends are {2.0 * half:.5f} mm apart"
    rise = sqrt(max(size * size - half * half, 0.0))
    # The centre lies to the right of the chord for a short clockwise arc, to the left for a short counter-clockwise one.
    side = -1.0 if clockwise == (radius_mm > 0.0) else 1.0
    centre = start + 0.5 * chord + side * rise * complex(-chord.imag, chord.real) / (2.0 * half)
    return centre, sweep_rad(start, end, centre, clockwise=clockwise)


def arc_of(
    block: Block, state: State, target: Vector, dialect: Dialect
) -> tuple[tuple[Vector, float], float]:
    """Return centre and signed sweep, and length, of the arc that a line goes to its target; raises ``Reject`` for none."""
    u, v, normal = (AXES.index(axis) for axis in PLANES[int(state.plane[1:])])
    clockwise = block.motion == "G2"
    offsets = [block.value(letter) for letter in "IJK"]
    radius = block.value("R")
    if radius is not None and any(value is not None for value in offsets):
        raise block.reject("R", "an arc is given either by R or by I, J and K")
    in_plane = AXES[u] in block.words or AXES[v] in block.words
    if not in_plane and (dialect is not LINUXCNC or radius is not None):
        raise block.reject("motion", f"an arc in this plane needs {AXES[u]} or {AXES[v]}")
    if offsets[normal] is not None and dialect is not GRBL:
        # Grbl takes an offset outside the plane without a word and without effect; so does this.
        raise block.reject("IJK"[normal], f"{'IJK'[normal]} has no meaning for an arc in this plane")
    if state.feed_mode == "G93" and dialect is GRBL:
        raise block.reject("motion", "this controller runs arcs under G93 at a wrong speed; write G94 and F")
    turns = block.whole("P", 1, MOST_TURNS) if "P" in block.words else 1
    start, end = complex(state.place[u], state.place[v]), complex(target[u], target[v])
    sweep: float | str
    if radius is not None:
        slack = LEAST_RADIUS_MM if dialect is LINUXCNC else 0.0
        answer = radius_arc(start, end, radius * state.scale, clockwise=clockwise, slack_mm=slack)
        if isinstance(answer, str):
            raise block.reject("R", answer)
        centre, sweep = answer
    else:
        first, second = offsets[u], offsets[v]
        if first is None and second is None:
            raise block.reject("motion", f"an arc in this plane needs {'IJK'[u]}, {'IJK'[v]} or R")
        absolute = state.arc_distance == "G90.1"
        if absolute and (first is None or second is None):
            raise block.reject("motion", "with G90.1 an arc needs both centre words")
        way = complex((first or 0.0) * state.scale, (second or 0.0) * state.scale)
        centre = way if absolute else start + way
        inch = state.units == "G20"
        sweep = centre_arc(start, end, centre, clockwise=clockwise, inch=inch, dialect=dialect)
        if isinstance(sweep, str):
            raise block.reject("IJK"[u if first is not None else v], sweep)
    sweep += (turns - 1) * (tau if sweep > 0 else -tau)
    middle = list(state.place)
    middle[u], middle[v] = centre.real, centre.imag
    length = hypot(abs(sweep) * abs(start - centre), target[normal] - state.place[normal])
    return (tuple(middle), sweep), length
