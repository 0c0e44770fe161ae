"""What a program holds that no other check judges: codes, words, values and comments outside the plain subset.

The rule: what is not modelled completely is never silently clean.  The reader notes everything outside the plain subset
(``outside`` and its like among the events), whether it models it or not; here each gets a finding that says what was not
judged, unless another check speaks of its line already.
"""

from __future__ import annotations

from collections.abc import Iterable

from vcarve.dryrun.track import Track
from vcarve.errors import Finding
from vcarve.program.grammar import (
    ACTIVE_COMMENTS,
    HARMLESS_COMMENTS,
    MOST_DIGITS,
    SHORTEST_LIMIT,
)
from vcarve.program.moves import Event
from vcarve.quantity import Figures

# Corners rounded by more are worth a word, or no longer the lines of the job.
ROUNDED_MM, TOO_ROUNDED_MM = 0.02, 0.1
OTHERWISE_MM = 1e-3  # a number that loses so much with its last digits is another number

# Codes of findings that say of the code on their line all that there is to say.
SPOKEN_OF = frozenset(
    {
        "offset-changed",
        "machine-coordinates",
        "probe",
        "tool-change",
        "path-tolerance",
        "pause-in-wood",
        "pause-running",
    }
)
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


def outside_findings(seen: Track, dialect: str, others: Iterable[Finding]) -> list[Finding]:
    """Return a finding for each kind of thing outside the plain subset, at its first line.

    ``others`` are the findings of the other checks.
    """
    judged = {one.line for one in others if one.code in SPOKEN_OF}
    first: dict[tuple[str, str], Finding] = {}
    for event in seen.moves.events:
        make = _KINDS.get(event.kind)
        one = None if make is None else make(event, dialect, seen.figures)
        if one is not None and not (event.kind == "outside" and one.line in judged):
            first.setdefault((one.code, one.sentence), one)
    return list(first.values())


def _outside(event: Event, dialect: str, figures: Figures) -> Finding:
    word = event.text
    reason = NOT_JUDGED.get(word if word[:1] != "#" else "#")
    if reason is None and (any(sign in word for sign in "[#") or word[1:2].isalpha()):
        reason = "it is worked out by the controller, and other controllers cannot; write the value"
    return _said(event, word, reason or "what it does on the controller is not part of the dry run")


def _said(event: Event, what: str, reason: str) -> Finding:
    sentence = f"{what[:1].upper()}{what[1:]} is outside the plain subset: {reason}."
    return Finding("not-judged", sentence, line=event.line)


def _noted(event: Event, dialect: str, figures: Figures) -> Finding:
    return _said(event, *NOTED[event.kind])


def _path_tolerance(event: Event, dialect: str, figures: Figures) -> Finding | None:
    if event.value <= ROUNDED_MM:
        return None
    bounded = event.value != float("inf")
    # RS-274 itself has no bound to write; LinuxCNC has, and takes a missing one for none.
    harm = event.value > TOO_ROUNDED_MM and (bounded or dialect == "linuxcnc")
    how = f"by up to {figures.length(event.value)}" if bounded else "as far as the speed asks"
    sentence = f"G64 lets the controller round corners {how}: the lines come out otherwise; G61 or G64 P0.01 keeps them."
    return Finding("path-tolerance", sentence, line=event.line, mild=not harm)


def _active(event: Event, dialect: str, figures: Figures) -> Finding:
    word = event.text
    # Grbl drops every comment; the same program may still come to another controller.
    harmless = word in HARMLESS_COMMENTS or dialect == "grbl-1.1"
    sentence = (
        f"LinuxCNC acts on this comment ({word.rstrip(',')}): {ACTIVE_COMMENTS[word]}. The dry run does not."
    )
    return Finding("active-comment", sentence, line=event.line, mild=harmless)


def _long_number(event: Event, dialect: str, figures: Figures) -> Finding:
    lost = event.value > OTHERWISE_MM
    sentence = (
        f"{event.text} has more than {MOST_DIGITS} digits; Grbl keeps the first {MOST_DIGITS}, zeros counted"
    )
    sentence += ": it is another number there." if lost else "."
    harm = lost and dialect != "linuxcnc"
    return Finding("long-number", sentence, line=event.line, mild=not harm)


def _switched(event: Event, dialect: str, figures: Figures) -> Finding:
    sentence = "Lines that begin with / run or not by a switch at the controller; both ways were judged."
    return Finding("block-delete", sentence, line=event.line)


_KINDS = {
    "outside": _outside,
    "path-tolerance": _path_tolerance,
    "active-comment": _active,
    "long-number": _long_number,
    "switched": _switched,
    **dict.fromkeys(NOTED, _noted),
}
