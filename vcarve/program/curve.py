"""An arc's line: from its words to a move (NISTIR 6556 §3.5.3)."""

from __future__ import annotations

from math import tau

from vcarve.program.actor import Actor
from vcarve.program.arcs import PLANE_AXES, centre_arc, radius_arc
from vcarve.program.block import Block
from vcarve.program.grammar import AXES, LEAST_RADIUS_MM, MOTION
from vcarve.program.modal import Vector
from vcarve.program.moves import Motion

MOST_TURNS = 100  # no groove is gone round so often, and a slip must not fill the memory


def arc(machine: Actor, block: Block, clockwise: bool, target: Vector) -> None:
    """Move along the arc of a G2 or G3 line to ``target``, by centre or by radius; raises ``Reject`` when there is none."""
    state = machine.state
    dialect = machine.dialect
    u, v, normal = PLANE_AXES[state.plane]
    offsets = [block.value(letter) for letter in "IJK"]
    radius = block.value("R")
    given = [letter for letter, value in zip("IJK", offsets, strict=True) if value is not None]
    if radius is not None and given:
        raise block.reject("R", "an arc is given either by R or by I, J and K")
    in_plane = AXES[u] in block.words or AXES[v] in block.words
    if not in_plane and (dialect.name != "linuxcnc" or radius is not None):
        raise block.reject(MOTION, f"an arc in this plane needs {AXES[u]} or {AXES[v]}")
    if offsets[normal] is not None and dialect.name != "grbl-1.1":
        # Grbl takes an offset outside the plane without a word and without effect; so does this.
        raise block.reject("IJK"[normal], f"{'IJK'[normal]} has no meaning for an arc in this plane")
    if state.inverse_time:
        if dialect.name == "grbl-1.1":
            raise block.reject(
                MOTION, "this controller runs arcs under G93 at a wrong speed; write G94 and F"
            )
        machine.event("inverse-time-arc")
    turns = 1
    if "P" in block.words:
        turns = block.whole("P", 1, MOST_TURNS)
    start = (state.place[u], state.place[v])
    end = (target[u], target[v])
    scale = state.scale
    if radius is not None:
        slack = LEAST_RADIUS_MM if dialect.name == "linuxcnc" else 0.0
        answer = radius_arc(
            start=start, end=end, radius_mm=radius * scale, clockwise=clockwise, slack_mm=slack
        )
        if isinstance(answer, str):
            raise block.reject("R", answer)
        centre, sweep = answer
    else:
        if offsets[u] is None and offsets[v] is None:
            raise block.reject(MOTION, f"an arc in this plane needs {'IJK'[u]}, {'IJK'[v]} or R")
        centre = _centre(machine, block, offsets, u, v)
        found = centre_arc(
            start=start, end=end, centre=centre, clockwise=clockwise, inch=state.inch, dialect=dialect
        )
        if isinstance(found, str):
            raise block.reject("IJK"[u] if offsets[u] is not None else "IJK"[v], found)
        sweep = found
    if turns > 1:
        sweep += (turns - 1) * (tau if sweep > 0 else -tau)
    flat = abs(sweep) * ((start[0] - centre[0]) ** 2 + (start[1] - centre[1]) ** 2) ** 0.5
    rise = target[normal] - state.place[normal]
    feed = machine.checked_feed(block, (flat * flat + rise * rise) ** 0.5)
    middle = [0.0, 0.0, 0.0]
    middle[u], middle[v], middle[normal] = centre[0], centre[1], state.place[normal]
    machine.columns.arcs[len(machine.columns)] = (middle[0], middle[1], middle[2], sweep)
    machine.straight(Motion.ARC_CW if clockwise else Motion.ARC_CCW, target, feed, block.axes)


def _centre(machine: Actor, block: Block, offsets: list[float | None], u: int, v: int) -> tuple[float, float]:
    state = machine.state
    first, second = offsets[u], offsets[v]
    if state.arc_absolute:
        if first is None or second is None:
            raise block.reject(MOTION, "with G90.1 an arc needs both centre words")
        return (first * state.scale, second * state.scale)
    return (
        state.place[u] + (first or 0.0) * state.scale,
        state.place[v] + (second or 0.0) * state.scale,
    )
