"""Drilling cycles in the XY plane: G81, G82, G83, G85 and G89 as moves (NISTIR 6556 §3.5.16).

Each hole is a rapid over it, a rapid down to R, the cut to Z, and the way back out: to where the cycle began if that is
higher than R and G98 is in force, else to R.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from vcarve.program.block import Block
from vcarve.program.grammar import Dialect
from vcarve.program.modal import State, Vector
from vcarve.program.moves import Motion

Step = tuple[Motion, Vector | float, float]  # motion, end (or seconds to wait), feed
_NAN = float("nan")
_PECK_CLEAR_MM = 0.254  # §3.5.16.4: each peck starts this far above the last one's bottom
_MOST_MOVES = 100_000  # a slip in Q or L must not fill the memory


def drill_moves(
    state: State, block: Block, code: int, dialect: Dialect, checked_feed: Callable[[Block, float], float]
) -> Iterator[Step]:
    """The moves of one line of a cycle; raises ``Reject`` before the first when the line cannot be taken."""
    if state.plane != 17:
        raise block.reject("motion", "drilling cycles are read in the XY plane only")
    if state.inverse_time:
        raise block.reject("motion", "drilling cycles must not be used with G93")  # §3.5.16, error list
    if not block.axes:
        raise block.reject("motion", "a drilling cycle needs at least one axis word")
    if block.g.get("non-modal") == 530:
        raise block.reject("non-modal", "G53 must not stand beside a drilling cycle")
    if state.retract_to_start is None and dialect.name == "rs274ngc":
        # §3.4 prints no default; LinuxCNC begins with G99.
        raise block.reject(
            "motion", "write G98 or G99 before a drilling cycle: which holds without is not laid down"
        )
    feed = checked_feed(block, 0.0)
    carried = state.cycle_code is not None
    if state.cycle_code != code:
        state.cycle = {}
        state.cycle_code = code
    if not carried:
        state.cycle_level_mm = state.place[2]
    elif not state.absolute and dialect.name == "rs274ngc":
        # §3.5.16.1 counts R from where the tool is, LinuxCNC from where the first cycle of the row began.
        raise block.reject(
            "motion", "a row of drilling cycles in G91 means different things to different controllers"
        )
    sticky = state.cycle
    for letter in "ZRPQ":
        value = block.value(letter)
        if value is not None:
            sticky[letter] = value if letter == "P" else value * state.scale
    for letter in ("Z", "R", *(("P",) if code in (820, 890) else ()), *(("Q",) if code == 830 else ())):
        if letter not in sticky:
            raise block.reject("motion", f"this cycle needs {letter}")
    if sticky.get("P", 0.0) < 0.0:
        raise block.reject("P", "P must not be negative")
    if code == 830 and sticky["Q"] <= 0.0:
        raise block.reject("Q", "Q, the depth of one peck, must be above zero")
    repeats = block.whole("L", 1, 10_000) if "L" in block.words else 1
    x, y, z = state.place
    across = block.value("X"), block.value("Y")
    level = state.cycle_level_mm if dialect.name == "linuxcnc" else z
    clear = sticky["R"] if state.absolute else level + sticky["R"]
    bottom = sticky["Z"] if state.absolute else clear + sticky["Z"]
    if clear < bottom:
        raise block.reject("R" if "R" in block.words else "Z", "R must not lie below Z")
    pecks = int((clear - bottom) / sticky["Q"]) if code == 830 else 0
    if repeats * (pecks + 1) > _MOST_MOVES:
        raise block.reject("motion", "this cycle makes more moves than any piece can need")
    back = max(level, clear) if state.retract_to_start else clear
    return _holes(state, code, (x, y, z), across, clear, bottom, back, repeats, feed)


def _holes(
    state: State,
    code: int,
    place: Vector,
    across: tuple[float | None, float | None],
    clear: float,
    bottom: float,
    back: float,
    repeats: int,
    feed: float,
) -> Iterator[Step]:
    x, y, z = place
    sticky = dict(state.cycle)
    step_x, step_y = ((value or 0.0) * state.scale for value in across)
    if z < clear:
        z = clear
        yield Motion.RAPID, (x, y, z), _NAN
    for _ in range(repeats):
        if state.absolute:
            x = x if across[0] is None else step_x
            y = y if across[1] is None else step_y
        else:
            x, y = x + step_x, y + step_y
        if (x, y, z) != state.place:
            yield Motion.RAPID, (x, y, z), _NAN
        if z != clear:
            yield Motion.RAPID, (x, y, clear), _NAN
        if code == 830:
            depth = clear - sticky["Q"]
            while depth > bottom:
                yield Motion.FEED, (x, y, depth), feed
                yield Motion.RAPID, (x, y, clear), _NAN
                yield Motion.RAPID, (x, y, min(depth + _PECK_CLEAR_MM, clear)), _NAN
                depth -= sticky["Q"]
        yield Motion.FEED, (x, y, bottom), feed
        if code in (820, 890):
            yield Motion.FEED, sticky["P"], feed
        if code in (850, 890):
            yield Motion.FEED, (x, y, clear), feed
            if back > clear:
                yield Motion.RAPID, (x, y, back), _NAN
        else:
            yield Motion.RAPID, (x, y, back), _NAN
        z = back
