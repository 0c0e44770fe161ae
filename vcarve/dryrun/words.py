"""What a program says besides where the bit goes: modes, offsets, and whatever no other check judges.

The rule: what is not modelled completely is never silently clean.  The reader notes everything outside the plain subset
(``outside`` and its like among the events), whether it models it or not; here each gets a finding that says what was not
judged, unless another check speaks of its line already.  After an offset, a move to machine coordinates or a probe nobody
knows where on the piece the bit is (:attr:`Moves.lost`): what is cut there all the same is told too.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from vcarve.dryrun.track import Track
from vcarve.errors import Finding
from vcarve.program.grammar import ACTIVE_COMMENTS, HARMLESS_COMMENTS, MOST_DIGITS, SHORTEST_LIMIT
from vcarve.program.moves import Event, Motion
from vcarve.quantity import Figures

OFFSETS = {
    "shift": "G92 moves the zero to where the bit stands, and nobody knows where that is on the piece.",
    "origin": "G10 moves the zero away from where it was set on the piece.",
}
HABITS = {
    "feed-with-units": "F beside G20 or G21: controllers disagree on which unit it has; give it a line of its own.",
    "bare-axes": "Axis words before any motion code: this controller runs them as a rapid, others refuse them.",
}
# Corners rounded by more are worth a word, or no longer the lines of the job.
ROUNDED_MM, TOO_ROUNDED_MM = 0.02, 0.1
OTHERWISE_MM = 1e-3  # a number that loses so much with its last digits is another number

# Codes of findings that say of the code on their line all that there is to say.
SPOKEN_OF = {
    "offset-changed", "machine-coordinates", "probe", "tool-change", "path-tolerance", "pause-in-wood", "pause-running",
}  # fmt: skip
COOLANT = "on wood nothing but air or a fan belongs behind it; see what it switches on your machine"
# Word -> what about it is not judged.
NOT_JUDGED = {
    "G28.1": "it overwrites a place that the controller keeps for other programs",
    "G30.1": "it overwrites a place that the controller keeps for other programs",
    "G61.1": "the stop at every corner is not in the running time",
    "G92.1": "a zero that was set by G92 before the program is lost",
    "G92.2": "a zero that was set by G92 before the program no longer holds",
    "M1": "whether the program pauses here is a switch at the controller",
    "M7": COOLANT,
    "M48": "it gives the speeds back to the knobs of the controller",
    "M49": "it takes the speeds from the knobs of the controller: there is no slowing down by hand",
    "K": "arcs outside the XY plane are no grooves of one depth",
    "T": "LinuxCNC stops there if its tool table lacks the number",
    "R": "near half a turn an arc given by its radius is bent by the last decimal; write I and J",
    "#": "other controllers know no parameters; write the values",
}
NOTED = {
    "semicolon": ("a comment after a semicolon", "RS-274 itself knows comments in round brackets only"),
    "percent": ("a percent sign", "this controller answers it with an error: take the line out"),
    "byte-order-mark": ("a byte-order mark", "some controllers refuse it: save the file as plain ASCII text"),
    "unread": ("what stands after the program's end", "it is not read here; Grbl would run it"),
    "live-sign": (
        "a sign such as ? or !, or a letter beyond ASCII",
        "Grbl acts on such signs even in comments",
    ),
    "long-line": (f"a line of more than {SHORTEST_LIMIT} signs", "Grbl leaves out what stands on it"),
    "carriage-return": ("a carriage return within a line", "LinuxCNC joins what stands before and after it"),
    "inverse-time-arc": ("an arc under G93", "Grbl runs it at a wrong speed; write G94 and F"),
    "cancel-with-axes": ("G49 beside axis words", "Grbl leaves out the line"),
    "home-in-part": (
        "G28 or G30 with some axes only",
        "RS-274 itself sends all axes home, the controllers only those named",
    ),
    "flood": ("M8", COOLANT),
}


def mode_findings(seen: Track) -> Iterator[Finding]:
    """Find units and modes that are never set before the first move that needs them, and a program without moves or end."""
    moves = seen.moves
    arcs, every = moves.sweep_rad != 0.0, np.ones(len(moves), dtype=np.bool_)
    for kind, mild, needing, which, what in (
        ("units", False, every, "move", "The units (G20 or G21) are"),
        ("distance", False, every, "move", "The distance mode (G90 or G91) is"),
        # Every controller at hand begins with G94, and G93 is rare.
        ("feed-mode", True, seen.feed, "feed move", "The feed mode (G94) is"),
        ("plane", False, arcs, "arc", "The plane of arcs (G17) is"),
        ("arc-distance", True, arcs, "arc", "The kind of arc centres (G91.1) is"),
        ("path", True, seen.feed, "feed move", "The path control (G61, or G64 with P) is"),
    ):
        # No program's end resets the last two on LinuxCNC.
        if seen.machine.dialect == "linuxcnc" or kind not in ("arc-distance", "path"):
            at = min((event.before for event in moves.events if event.kind == kind), default=len(moves))
            code = "units-unset" if kind == "units" else "modes-unset"
            said = f"{what} not set before the first {which}."
            yield from seen.tell(code, np.flatnonzero(needing[:at])[:1], said, mild=mild)
    if not len(moves):
        yield Finding("no-moves", "The program moves nothing.")
    if not any(event.kind == "end" for event in moves.events):
        sentence = "The program does not end with M2 or M30."
        yield Finding("no-end", sentence, line=moves.lines or None)


def offset_findings(seen: Track) -> Iterator[Finding]:
    """Find other zeros than the usual one, and zeros that the program moves."""
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


def place_findings(seen: Track) -> Iterator[Finding]:
    """Find moves to machine coordinates, probes, distances from nowhere, and cuts at a place not known."""
    moves, turning = seen.moves, seen.moves.rpm > 0.0
    # With the spindle standing, and not at a feed, a program parks so.
    where = "A move to machine coordinates: where that is on the piece is not known."
    yield from seen.tell("machine-coordinates", moves.machine, where, mild=~(seen.feed | turning))
    probes = moves.motion == int(Motion.PROBE)
    down = probes & (moves.end("Z") != moves.start("Z"))
    index = np.arange(len(moves))
    touched = np.maximum.accumulate(np.where(down, index, -1))
    placed = np.maximum.accumulate(np.where(moves.is_lost("Z"), -1, np.arange(len(moves) + 1)))[1:]
    scrapes = seen.across & ~probes & (touched >= 0) & (placed <= touched)

    def probe(m: int) -> str:
        if scrapes[m]:
            return "The bit goes on across from where it touched; lift it first, to a height in Z (G90)."
        stops = "This move goes on until the probe touches: where it stops is not known before, and is not judged."
        return f"{stops} The spindle turns at that: stop it (M5) first." if turning[m] else stops

    yield from seen.tell("probe", probes | scrapes, probe, mild=~(scrapes | turning))
    for axis in moves.axes:
        rows = np.flatnonzero((moves.end(axis) != moves.start(axis)) & moves.is_lost(axis)[1:] & moves.told)
        sentence = f"{axis} moves by a distance (G91), from wherever the bit stands."
        yield from seen.tell("start-unknown", rows[:1], sentence)

    def lost(m: int) -> str:
        missing = [axis for axis in moves.axes if moves.lost[m : m + 2, moves.columns(axis)].any()]
        have = "have" if len(missing) > 1 else "has"
        return f"{' and '.join(missing)} {have} not been given a place before this cut: it starts wherever the bit stands."

    way = moves.is_lost("XY")[1:] | moves.is_found("XY") | (seen.across & moves.is_found("Z"))
    unknown = seen.feed & moves.told & (moves.is_lost("Z")[1:] | (seen.in_wood & way))
    yield from seen.tell("place-unknown", unknown, lost)


def habit_findings(seen: Track) -> Iterator[Finding]:
    """Find habits that are worth a look, and changes of bit."""
    moves = seen.moves
    units = None
    wood = np.flatnonzero(seen.feed & seen.in_wood)
    first_cut = int(wood[0]) if len(wood) else len(moves)
    for event in moves.events:
        if event.kind == "units":
            if event.before > 0 and event.value != units:
                sentence = "The units change on the way; check every length and feed after this line."
                yield Finding("units-change", sentence, line=event.line)
            units = event.value
        elif event.kind in HABITS:
            yield Finding(event.kind, HABITS[event.kind], line=event.line)
        elif event.kind == "tool-change":
            later = event.before > first_cut
            sentence = (
                "The bit is changed after the first cut; what follows is only right if it was measured again."
                if later
                else "The program changes the bit; set the zero with the bit it asks for."
            )
            yield Finding("tool-change", sentence, line=event.line, mild=not later)
    if len(moves) and not moves.machine[0] and seen.across[0]:
        sentence = "The first move goes across; lift the bit (Z alone) before that."
        yield Finding("first-move-across", sentence, line=seen.line(0))
    still = seen.feed & (moves.length_mm == 0.0)
    yield from seen.tell("zero-length", still, "This move goes to where the bit already is.")


def outside_findings(seen: Track, others: Iterable[Finding]) -> list[Finding]:
    """Return a finding for each kind of thing outside the plain subset, at its first line.

    ``others`` are the findings of the other checks.
    """
    spoken = [one for one in others if one.code in SPOKEN_OF]
    judged, full = ({one.line for one in those} for those in (spoken, (one for one in spoken if one.more)))
    # Of findings of one kind only the first are listed: the words of the last stand for those after it.
    words = {event.text for event in seen.moves.events if event.kind == "outside" and event.line in full}
    first: dict[tuple[str, str], Finding] = {}
    # A program that only probes has a file to note it in.
    probes = bool((seen.moves.motion == int(Motion.PROBE)).any() and not seen.moves.rpm.any())
    for event in seen.moves.events:
        code, sentence, mild = _said(event, seen.machine.dialect, seen.figures)
        mild = mild or (event.text.startswith("PROBE") and probes)
        if sentence and not (event.kind == "outside" and (event.line in judged or event.text in words)):
            first.setdefault((code, sentence), Finding(code, sentence, line=event.line, mild=mild))
    return list(first.values())


def _said(event: Event, dialect: str, figures: Figures) -> tuple[str, str, bool]:
    """Return the code of what an event has outside the plain subset, its sentence (empty for nothing), and whether it is mild."""
    word, value = event.text, event.value
    if event.kind == "outside" or event.kind in NOTED:
        what, reason = NOTED.get(event.kind, (word, NOT_JUDGED.get(word if word[:1] != "#" else "#", "")))
        if not reason and (any(sign in word for sign in "[#") or word[1:2].isalpha()):
            reason = "it is worked out by the controller, and other controllers cannot; write the value"
        reason = reason or "what it does on the controller is not part of the dry run"
        return "not-judged", f"{what[:1].upper()}{what[1:]} is outside the plain subset: {reason}.", False
    if event.kind == "path-tolerance" and value > ROUNDED_MM:
        bounded = value != float("inf")
        # RS-274 itself has no bound to write; LinuxCNC has, and takes a missing one for none.
        harm = value > TOO_ROUNDED_MM and (bounded or dialect == "linuxcnc")
        how = f"by up to {figures.length(value)}" if bounded else "as far as the speed asks"
        sentence = f"G64 lets the controller round corners {how}: the lines come out otherwise; G61 or G64 P0.01 keeps them."
        return event.kind, sentence, not harm
    if event.kind == "active-comment":
        sentence = f"LinuxCNC acts on this comment ({word.rstrip(',')}): {ACTIVE_COMMENTS[word]}. The dry run does not."
        # Grbl drops every comment; the same program may still come to another controller.
        return event.kind, sentence, word in HARMLESS_COMMENTS or dialect == "grbl-1.1"
    if event.kind == "long-number":
        other = value > OTHERWISE_MM
        sentence = (
            f"{word} has more than {MOST_DIGITS} digits; Grbl keeps the first {MOST_DIGITS}, zeros counted"
            f"{': it is another number there' if other else ''}."
        )
        return event.kind, sentence, not other or dialect == "linuxcnc"
    if event.kind == "switched":
        sentence = "Lines that begin with / run or not by a switch at the controller; both ways were judged."
        return "block-delete", sentence, False
    return event.kind, "", False
