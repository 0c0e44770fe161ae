"""Everything after which nobody knows where on the piece the bit is, and what is cut there all the same.

Judged from what the reader decoded: the events of offsets, the moves to machine coordinates, and which axes the text has
given a place (:attr:`Moves.lost`).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from vcarve.dryrun.track import Track
from vcarve.errors import Finding, listed
from vcarve.program.moves import Motion

OFFSETS = {
    "shift": "G92 moves the zero to where the bit stands, and nobody knows where that is on the piece.",
    "origin": "G10 moves the zero away from where it was set on the piece.",
}


def place_findings(seen: Track) -> list[Finding]:
    """Find zeros that the program moves, moves to machine coordinates, distances from nowhere, and cuts at a place not known."""
    return [
        *_offset_findings(seen),
        *_machine_findings(seen),
        *_probe_findings(seen),
        *_distance_findings(seen),
        *_lost_findings(seen),
    ]


def _offset_findings(seen: Track) -> Iterator[Finding]:
    events = seen.moves.events
    chosen = [event for event in events if event.kind == "system" and event.before == 0]
    system, shifted = (chosen[-1].value if chosen else 1.0), 0
    if system != 1.0:
        name = f"G{53 + system:g}" if system <= 6 else f"G59.{system - 6:g}"
        sentence = f"The program works from the zero of {name}, not of G54: set that one on the piece."
        yield Finding("other-zero", sentence, line=chosen[-1].line)
    for event in events:
        sentence = OFFSETS.get(event.kind, "")
        if event.kind == "system" and event.before and event.value != system:
            sentence = "The program changes to another work zero; where that is on the piece is not known."
            system = event.value
        if sentence:
            yield Finding("offset-changed", sentence, line=event.line)
        if event.kind in ("shift", "shift-off"):
            shifted = event.line if event.kind == "shift" else 0
    if shifted:
        sentence = "G92 is never cancelled; it holds for the next program as well."
        yield Finding("g92-left", sentence, line=shifted)


def _machine_findings(seen: Track) -> list[Finding]:
    """Find moves to machine coordinates; with the spindle standing, and not at a feed, they are how a program parks."""
    harm = seen.feed | (seen.moves.rpm > 0.0)
    sentence = "A move to machine coordinates: where that is on the piece is not known."
    return listed(
        np.flatnonzero(seen.moves.machine).tolist(),
        lambda m: Finding("machine-coordinates", sentence, line=seen.line(m), mild=not harm[m]),
    )


def _probe_findings(seen: Track) -> list[Finding]:
    """Find moves until a probe touches: with the spindle turning they cut, and going on across from there they scrape."""
    moves = seen.moves
    probes = moves.motion == int(Motion.PROBE)
    down = probes & (moves.end("Z") != moves.start("Z"))
    index = np.arange(len(moves))
    touched = np.maximum.accumulate(np.where(down, index, -1))
    placed = np.maximum.accumulate(np.where(moves.is_lost("Z"), -1, np.arange(len(moves) + 1)))[1:]
    scrapes = seen.across & ~probes & (touched >= 0) & (placed <= touched)
    turning = probes & (moves.rpm > 0.0)
    stops = "until the probe touches: where it stops is not known before, and is not judged"
    said = {
        "scrape": "The bit goes on across from where it touched; lift it first, to a height in Z (G90).",
        "turning": f"This move goes on {stops}. The spindle turns at that: stop it (M5) first.",
        "probe": f"This move goes on {stops}.",
    }

    def make(m: int) -> Finding:
        which = "scrape" if scrapes[m] else "turning" if turning[m] else "probe"
        return Finding("probe", said[which], line=seen.line(m), mild=which == "probe")

    return listed(np.flatnonzero(probes | scrapes).tolist(), make)


def _distance_findings(seen: Track) -> Iterator[Finding]:
    """Find moves by a distance (G91) of an axis that has no place: it can only be one from wherever the bit stands."""
    moves = seen.moves
    for axis in moves.axes:
        rows = (moves.end(axis) != moves.start(axis)) & moves.is_lost(axis)[1:] & moves.told
        if rows.any():
            sentence = f"{axis} moves by a distance (G91), from wherever the bit stands."
            yield Finding("start-unknown", sentence, line=seen.line(int(rows.argmax())))


def _lost_findings(seen: Track) -> list[Finding]:
    """Feed moves whose height is not known, and those in the wood whose place or way is not."""
    moves = seen.moves
    way = moves.is_lost("XY")[1:] | moves.is_found("XY") | (seen.across & moves.is_found("Z"))
    rows = seen.feed & moves.told & (moves.is_lost("Z")[1:] | (seen.in_wood & way))

    def make(m: int) -> Finding:
        missing = [axis for axis in moves.axes if moves.lost[m : m + 2, moves.columns(axis)].any()]
        have = "have" if len(missing) > 1 else "has"
        sentence = f"{' and '.join(missing)} {have} not been given a place before this cut: it starts wherever the bit stands."
        return Finding("place-unknown", sentence, line=seen.line(m))

    return listed(np.flatnonzero(rows).tolist(), make)
