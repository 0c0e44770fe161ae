"""Everything after which nobody knows where on the piece the bit is, and what is cut there all the same.

Judged from what the reader decoded: the events of offsets, the moves to machine coordinates, and which axes the text has
given a place (:attr:`Track.lost`).
"""

from __future__ import annotations

import numpy as np

from vcarve.dryrun.codes import finding
from vcarve.dryrun.track import Track
from vcarve.errors import Finding, listed

OFFSETS = {
    "shift": "G92 moves the zero to where the bit stands, and nobody knows where that is on the piece.",
    "origin": "G10 moves the zero away from where it was set on the piece.",
}


def place_findings(seen: Track) -> list[Finding]:
    """Zeros that the program moves, moves to machine coordinates, distances from nowhere, and cuts at a place not known."""
    return [
        *_offset_findings(seen),
        *_machine_findings(seen),
        *_distance_findings(seen),
        *_lost_findings(seen),
    ]


def _offset_findings(seen: Track) -> list[Finding]:
    found = []
    events = seen.moves.events
    chosen = [event for event in events if event.kind == "system" and event.before == 0]
    system, shifted = (chosen[-1].value if chosen else 1.0), 0
    if system != 1.0:
        name = f"G{53 + system:g}" if system <= 6 else f"G59.{system - 6:g}"
        sentence = f"The program works from the zero of {name}, not of G54: set that one on the piece."
        found.append(finding("other-zero", sentence, line=chosen[-1].line))
    for event in events:
        sentence = OFFSETS.get(event.kind, "")
        if event.kind == "system" and event.before and event.value != system:
            sentence = "The program changes to another work zero; where that is on the piece is not known."
            system = event.value
        if sentence:
            found.append(finding("offset-changed", sentence, line=event.line))
        if event.kind in ("shift", "shift-off"):
            shifted = event.line if event.kind == "shift" else 0
    if shifted:
        sentence = "G92 is never cancelled; it holds for the next program as well."
        found.append(finding("g92-left", sentence, line=shifted))
    return found


def _machine_findings(seen: Track) -> list[Finding]:
    """Moves to machine coordinates; with the spindle standing, and not at a feed, they are how a program parks."""
    harm = seen.feed | (seen.moves.rpm > 0.0)
    sentence = "A move to machine coordinates: where that is on the piece is not known."
    return listed(
        np.flatnonzero(seen.moves.machine).tolist(),
        lambda m: finding(
            "machine-coordinates", sentence, line=seen.line(m), severity=None if harm[m] else "caution"
        ),
    )


def _distance_findings(seen: Track) -> list[Finding]:
    """Moves by a distance (G91) of an axis that has no place: it can only be one from wherever the bit stands."""
    moves = seen.moves
    found = []
    for axis, letter in enumerate("XYZ"):
        rows = (moves.end_mm[:, axis] != moves.start_mm[:, axis]) & seen.lost[1:, axis] & ~moves.machine
        if rows.any():
            sentence = f"{letter} moves by a distance (G91), from wherever the bit stands."
            found.append(finding("start-unknown", sentence, line=seen.line(int(rows.argmax()))))
    return found


def _lost_findings(seen: Track) -> list[Finding]:
    """Feed moves whose height is not known, and those in the wood whose place or way is not."""
    lost, found = seen.lost[1:], seen.found
    way = lost[:, :2].any(axis=1) | found[:, :2].any(axis=1) | (seen.across & found[:, 2])
    rows = seen.feed & ~seen.moves.machine & (lost[:, 2] | (seen.in_wood & way))

    def make(m: int) -> Finding:
        missing = [letter for axis, letter in enumerate("XYZ") if lost[m, axis] or found[m, axis]]
        have = "have" if len(missing) > 1 else "has"
        sentence = f"{' and '.join(missing)} {have} not been given a place before this cut: it starts wherever the bit stands."
        return finding("place-unknown", sentence, line=seen.line(m))

    return listed(np.flatnonzero(rows).tolist(), make)
