"""Offsets: origins of work systems, G92, and the way to stored places (NISTIR 6556 §3.5.5, §3.5.8, §3.5.18)."""

from __future__ import annotations

from vcarve.program.actor import Actor
from vcarve.program.block import Block
from vcarve.program.grammar import AXES, NON_MODAL
from vcarve.program.modal import plus
from vcarve.program.moves import Motion

_NAN = float("nan")


def set_origin(machine: Actor, block: Block) -> None:
    """G10 L2 (§3.5.5) and, in both controllers, L20: the origin of a work system."""
    state = machine.state
    if "L" not in block.words or "P" not in block.words:
        raise block.reject(NON_MODAL, "G10 needs L and P")
    kind = block.whole("L", 0, 99)
    if kind != 2 and not (kind == 20 and machine.dialect.name != "rs274ngc"):
        raise block.reject("L", f"G10 L{kind} is not read here")
    system = (
        block.whole("P", 1 if machine.dialect.name == "rs274ngc" else 0, machine.dialect.systems)
        or state.system
    )
    if machine.dialect.name == "grbl-1.1" and not block.axes:
        raise block.reject(NON_MODAL, "G10 needs at least one axis word")
    old = state.offset
    origin = list(state.origins[system - 1])
    for axis, letter in enumerate(AXES):
        value = block.value(letter)
        if value is None:
            continue
        value *= state.scale
        if kind == 20:
            value = state.place[axis] + old[axis] - state.g92[axis] - value
        origin[axis] = value
    origins = list(state.origins)
    origins[system - 1] = (origin[0], origin[1], origin[2])
    state.origins = tuple(origins)
    machine.offset_changed(old)
    machine.event("origin", system)


def shift(machine: Actor, block: Block, code: int) -> None:
    """G92 and its cancels (§3.5.18): make the current point read the given values."""
    state = machine.state
    old = state.offset
    if code == 920:
        shift = list(state.g92)
        for axis, letter in enumerate(AXES):
            value = block.value(letter)
            if value is not None:
                shift[axis] += state.place[axis] - value * state.scale
        state.g92 = state.g92_kept = (shift[0], shift[1], shift[2])
    elif code == 921:
        state.g92 = state.g92_kept = (0.0, 0.0, 0.0)
    elif code == 922:
        state.g92 = (0.0, 0.0, 0.0)
    else:
        state.g92 = state.g92_kept
    machine.offset_changed(old)
    machine.event("shift" if code in (920, 923) else "shift-off")


def go_home(machine: Actor, block: Block, which: int) -> None:
    """G28 and G30 (§3.5.8): by the given point to a stored place, which is machine zero unless set by G28.1, G30.1.

    NIST sends all axes there, the controllers only the named ones; where it may be for either, no axis is known afterwards.
    """
    state = machine.state
    axes = block.axes
    disputed = bool(axes) and len(axes) < 3 and machine.dialect.name == "rs274ngc"
    if disputed:
        machine.event("home-in-part")
    if axes:
        machine.straight(Motion.RAPID, machine.target(block), _NAN, axes)
    machine.event("home", which)
    here = plus(state.place, state.offset)
    home = state.homes[which]
    ends = [home[i] if not axes or AXES[i] in axes else here[i] for i in range(3)]
    named = AXES if disputed or not axes else axes
    machine.machine_move(Motion.RAPID, here, (ends[0], ends[1], ends[2]), _NAN, named)
