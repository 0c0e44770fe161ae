"""What there is to say of the land that the grooves leave, and what would mend it, worked out.

A job whose grooves meet and cut most of the land away is refused, unless it says that this is meant.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vcarve.errors import Finding, listed
from vcarve.groove.model import WEAK_MM, WEAK_SHARE
from vcarve.groove.slivers import edge_slivers
from vcarve.groove.whole_cells import Cells, cells_of, deepest_depths_mm, least_pitch_mm
from vcarve.groove.width import width_mm
from vcarve.job.records import Job
from vcarve.layout import Layout
from vcarve.network.model import Role
from vcarve.plane.region import chords

MOST_LOST = 0.5  # of the cells: with more of them gone there is no pattern left to see; our choice


def land_findings(job: Job, layout: Layout) -> tuple[Finding, ...]:
    """Return what there is to say of the land: lost, broken, weak islands, strips at the piece's edge."""
    grooves = layout.grooves
    cells = layout.network.cells
    found = []
    if grooves.vanished:
        found.append(_lost(job, layout))
    if grooves.broken:
        found.append(
            Finding(
                code="land-broken",
                severity="caution",
                sentence=f"In {_share(grooves.broken, cells)} the land falls apart into islands.",
            )
        )
    if grooves.weak:
        said = _weak_sentence(grooves.weak, job.figures.small(float(grooves.weak_mm.min())))
        if grooves.weak > MOST_LOST * cells and layout.pattern and (sample := cells_of(layout.pattern)):
            holds, sound = _sound_mm(job, layout, sample)
            said += (
                f" At a pitch of {job.figures.length(sound)} or more every whole cell keeps land of "
                f"{job.figures.length(holds)} or more."
            )
        weak = Finding(code="weak-island", severity="caution", sentence=said)
        places = [(x, y) for x, y in grooves.weak_at_mm.tolist()]
        found.extend(listed(range(grooves.weak), lambda k: replace(weak, at_mm=places[k])))
    found.extend(_sliver_findings(job, layout))
    return tuple(found)


def _lost(job: Job, layout: Layout) -> Finding:
    """Return the finding of cells that keep no land: the cause, and the pitch and the depth that would do."""
    grooves, network = layout.grooves, layout.network
    lost = grooves.vanished
    most = lost > MOST_LOST * network.cells
    share = _share(lost, network.cells)
    said = [f"{share[0].upper()}{share[1:]} {'keeps' if lost == 1 else 'keep'} no land:"]
    if layout.pattern is None or (cells := cells_of(layout.pattern)) is None:
        said.append(f"grooves up to {job.figures.length(layout.widest_mm)} wide meet and cut it away.")
        said.append("Cut shallower, take a sharper bit, or give the lines more room.")
    elif _whole_cells_hold(job, layout, cells):
        said.append("the piece's edge or a frame clips them, and the grooves cut away what is left.")
        said.append("Every whole cell has room for its grooves.")
    else:
        said.extend(_cause_and_cure(job, layout, cells))
    refused = most and job.lost_land == "refuse"
    if refused:
        said.append("If this is meant, write 'lost-land: allow' under 'groove'.")
    return Finding(
        code="land-lost" if most else "land-vanished",
        severity="refuse" if refused else "caution",
        sentence=" ".join(said),
    )


def _share(number: int, cells: int) -> str:
    return "the only cell" if cells == 1 else f"{number} of {cells} cells"


def _whole_cells_hold(job: Job, layout: Layout, cells: Cells) -> bool:
    """Tell whether the cells that keep no land are clipped ones: those left whole keep theirs, or would if there were any."""
    assert layout.pitch_mm is not None
    whole = layout.grooves.land_mm[layout.network.cell_class >= 0]
    if len(whole):
        return bool(whole.all())
    return cells.keep(
        layout.pitch_mm, {role: width_mm(job.bit, layout.depths_mm[role]) for role in cells.roles}
    )


def _cause_and_cure(job: Job, layout: Layout, cells: Cells) -> list[str]:
    """Return how the grooves' width compares with the room of the cells, what pitch suits the groove, what depth the pitch."""
    assert layout.pattern is not None
    assert layout.pitch_mm is not None
    length, pitch, name = job.figures.length, layout.pitch_mm, layout.pattern.key
    depths = {role: layout.depths_mm[role] for role in cells.roles}
    low, high = layout.pattern.pitch_mm
    least = least_pitch_mm(cells, {role: width_mm(job.bit, depth) for role, depth in depths.items()})
    holds, sound = _sound_mm(job, layout, cells)
    said = [
        f"the grooves are {length(layout.widest_mm)} wide, and the smallest cells of {name} at a pitch of {length(pitch)} have "
        f"room for {length(cells.room * pitch)}.",
        f"Every whole cell keeps some land from a pitch of {length(least)}, and enough not to break out ({length(holds)}) from "
        f"{length(sound)}; {name} usually has {length(low)} to {length(high)}.",
    ]
    shallower = deepest_depths_mm(cells, pitch, job.bit, depths)
    if shallower is None:
        said.append("At this pitch no depth of this bit leaves them land; take a sharper bit.")
    elif len(set(depths.values())) == 1:
        said.append(f"At this pitch a depth of {length(max(shallower.values()))} or less leaves them land.")
    else:
        ground, leaf = (length(shallower[int(role)]) for role in (Role.GROUND, Role.LEAF))
        said.append(f"At this pitch ground {ground} and leaf {leaf}, or less, leave them land.")
    return said


def _sound_mm(job: Job, layout: Layout, cells: Cells) -> tuple[float, float]:
    """Return how wide land must be not to break out, and the pitch from which on all whole cells keep as much."""
    depths = {role: layout.depths_mm[role] for role in cells.roles}
    holds = max(WEAK_MM, WEAK_SHARE * max(depths.values()))
    widths = {role: width_mm(job.bit, depth) for role, depth in depths.items()}
    return holds, least_pitch_mm(cells, widths, holds)


def _sliver_findings(job: Job, layout: Layout) -> tuple[Finding, ...]:
    """Return what there is to say of grooves that run along the piece's edge and leave too little wood beside them."""
    strips = edge_slivers(layout.network, layout.grooves, [chords(ring) for ring in layout.outline.rings])
    if not len(strips):
        return ()
    thinnest = int(np.argmin(strips.width_mm))
    size = job.figures.small(float(strips.width_mm[thinnest]))
    at = strips.at_mm[thinnest]
    start = (
        f"A groove runs along the piece's edge and leaves a strip of only {size} beside it"
        if len(strips) == 1
        else f"At {len(strips)} places grooves run along the piece's edge; the thinnest strip they leave is {size} wide"
    )
    return (
        Finding(
            code="edge-sliver",
            severity="caution",
            sentence=f"{start}: it may break out. Shift the pattern, or change its pitch or margin.",
            at_mm=(float(at[0]), float(at[1])),
        ),
    )


def _weak_sentence(number: int, size: str) -> str:
    if number == 1:
        return (
            f"An island of land is so small that it may break out: it has room for a circle of {size} only."
        )
    return f"Islands of land are so small that they may break out; the smallest has room for a circle of {size} only."
