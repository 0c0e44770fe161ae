"""The grammar of programs: letters, codes, groups and limits, each once, under the clause it obeys.

Clauses are those of NISTIR 6556, "The NIST RS274NGC Interpreter - Version 3"; where a dialect differs its own rule is
given beside it.  Nothing here reads or writes a number: reader and writer share these tables and nothing else.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

DialectName = Literal["rs274ngc", "grbl-1.1", "linuxcnc"]

MM_PER_INCH = 25.4

# §3.3.2, table 3: the letters a word may begin with.  Of the axes those of AXES move; the others are legal in the language
# and refused by the reader.
AXES = ("X", "Y", "Z")
NO_AXIS = {
    letter: f"{letter} is a rotary axis, about {axis}; no axis is turned here, and what it turns cannot be judged: "
    "write the places in X, Y and Z"
    for letter, axis in zip("ABC", "XYZ", strict=True)
} | {
    letter: f"{letter} is a second axis along {axis}, and none is moved here: write the places in X, Y and Z"
    for letter, axis in zip("UVW", "XYZ", strict=True)
}
# §2.1.2.6, §3.5.3: the axes of each plane, and the one upright on it; G3 turns from the first to the second.
PLANES = MappingProxyType({17: ("X", "Y", "Z"), 18: ("Z", "X", "Y"), 19: ("Y", "Z", "X")})
LETTERS = frozenset("ABCDFGHIJKLMNPQRSTXYZ")

# Tables 4, 5 and 7: modal groups and their codes, those that every dialect has first.  Two codes of one group must not
# stand on one line (§3.3.5).
_COMMON: Mapping[str, str] = {
    "motion": "G0 G1 G2 G3 G38.2 G80",
    "non-modal": "G4 G10 G28 G30 G53 G92 G92.1",
    "plane": "G17 G18 G19",
    "units": "G20 G21",
    "radius": "G40",
    "length": "G49",
    "system": "G54 G55 G56 G57 G58 G59",
    "path": "G61",
    "distance": "G90 G91",
    "feed-mode": "G93 G94",
    "stop": "M0 M1 M2 M30",
    "spindle": "M3 M4 M5",
    "coolant": "M8 M9",
}
_NOT_GRBL: Mapping[str, str] = {
    "motion": "G81 G82 G83 G84 G85 G86 G87 G88 G89",
    "radius": "G41 G42",
    "length": "G43",
    "system": "G59.1 G59.2 G59.3",
    "path": "G61.1 G64",
    "return": "G98 G99",
    "stop": "M60",
    "tool-change": "M6",
    "coolant": "M7",
    "overrides": "M48 M49",
}
# Grbl 1.1 (grbl/gcode.h), and LinuxCNC as well.
_NOT_NIST: Mapping[str, str] = {
    "motion": "G38.3 G38.4 G38.5",
    "non-modal": "G28.1 G30.1",
    "length": "G43.1",
    "arc-distance": "G91.1",
}
# Codes that a dialect knows (LinuxCNC all of them: interp_array.cc) and that are not carried out, with the reason and what to
# do instead.
REFUSED: Mapping[str, str] = {
    code: reason
    for codes, reason in {
        "G38.3 G38.4 G38.5": "of the probing moves only the one that must touch is read; write G38.2",
        "G41 G42 G41.1 G42.1": "it shifts the path by a bit's radius that is not in the program; "
        "write the path of the bit's middle, and G40",
        "G43 G43.1 G43.2": "it shifts every depth by a tool's length; "
        "set the zero with the bit in the spindle, and write G49",
        "G73 G74 G81 G82 G83 G84 G85 G86 G87 G88 G89": "a drilling cycle makes several moves of one line, "
        "and controllers differ in its lifts; write them out as G0 and G1",
        "G98 G99": "it tells drilling cycles how far to lift, and these are not carried out; leave it out",
        "G7 G8 G70 G71 G71.1 G71.2 G72 G72.1 G72.2 G76 G96 G97": "it belongs to lathes; leave it out",
        "G33 G33.1 G95": "it ties the feed to the turning of the spindle; write G94 and F",
        "G5 G5.1 G5.2 G5.3": "a spline is not followed; write G1, or arcs with G2 and G3",
        "G17.1 G18.1 G19.1": "it is a plane of axes U, V and W; write G17, G18 or G19",
        "G52": "it moves the zero for a while; write G92 or G10 instead",
        "M62 M63 M64 M65 M66 M67 M68": "what the machine's pins switch is not known from the text; leave it out",
        "M50 M51 M52 M53": "it gives single speeds to the knobs of the controller or takes them; leave it out",
        "M19": "it turns the spindle to an angle, which an engraving bit has no use for; leave it out",
        "M61": "it names the tool in the spindle by the machine's table; leave it out",
        "M99": "it begins the program again without end; write M2 or M30",
    }.items()
    for code in codes.split()
}

# §3.5: which letters a code gives a meaning to.  F, S and T have one on every line; axis words go with motion, and
# with the codes of AXIS_USERS.  A letter nothing on the line uses is an error (table 3; Grbl error 36).
_USES = {"G2": "IJKR", "G3": "IJKR", "G4": "P", "G10": "LP"}
ARCS = frozenset({"G2", "G3"})
PROBE = "G38.2"
# §3.5.5, §3.5.8, §3.5.18: codes outside the motion group that take the line's axis words.  One user a line (§3.4).
AXIS_USERS = frozenset({"G10", "G28", "G30", "G92"})
SHORTEST_LIMIT = 79  # significant characters of a line that every controller takes: Grbl's

# The plain subset: what the NIST interpreter, Grbl 1.1 and LinuxCNC take alike, so that no more than the text is needed to know
# what it does.  G91.1 and G64 are plain for the controllers that have them.  T only selects; M6 would change.
PLAIN = frozenset({
    "G0", "G1", "G2", "G3", "G4", "G17", "G18", "G19", "G20", "G21", "G40", "G49", "G54", "G55", "G56", "G57", "G58", "G59",
    "G61", "G64", "G80", "G90", "G91", "G91.1", "G93", "G94", "M0", "M2", "M3", "M4", "M5", "M8", "M9", "M30",
    *"FIJNPSTXYZ",
})  # fmt: skip
# Grbl 1.1 (grbl/nuts_bolts.c, read_float) keeps so many digits of a number, leading zeros counted, and drops the others.
MOST_DIGITS = 8
# Grbl 1.1 (grbl/serial.c) takes these from the stream at once, wherever they stand: a question about its state does nothing else.
LIVE, HARMLESS_LIVE = frozenset("!~\x18"), "?"
# LinuxCNC carries out a comment that begins with one of these words, blanks and case aside (G-code overview, "Comments";
# rs274ngc/interp_convert.cc): the word, with the comma where there has to be one, and what it does.
ACTIVE_COMMENTS = {
    word: action
    for words, action in {
        "MSG, DEBUG,": "it shows a message",
        "PRINT,": "it prints a message",
        "LOG,": "it writes to a file",
        "LOGOPEN, PROBEOPEN": "it opens a file and empties it",
        "LOGAPPEND,": "it opens a file to write to",
        "LOGCLOSE PROBECLOSE": "it closes a file",
        "ABORT,": "it stops the program where it is",
        "PY, PYRUN, PYRELOAD": "it runs code on the controller",
        "AXIS, PREVIEW,": "it changes what the controller's screen shows",
    }.items()
    for word in words.split()
}
_ACTIVE = re.compile("|".join(ACTIVE_COMMENTS))
# Of these, those that only show something.
HARMLESS_COMMENTS = frozenset({"MSG,", "DEBUG,", "PRINT,"})


def active_comment(text: str) -> str | None:
    """Return the word of :data:`ACTIVE_COMMENTS` that a comment begins with, or ``None`` for one that is only read by people."""
    found = _ACTIVE.match("".join(text.split()).upper())
    return found.group() if found else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Dialect:
    """What one kind of controller accepts; what it does not say for itself is as in RS-274's own report."""

    name: DialectName
    letters: frozenset[str] = LETTERS
    groups: Mapping[str, str]  # the group of each code it knows
    uses: Mapping[str, str]  # the letters that a code gives a meaning to
    systems: int = 9  # work systems, §3.5.13
    line_limit: int = 256  # characters without the line's end, §3.3
    line_number_max: int = 99_999  # §3.3.1
    # An arc's radius at its start and at its end may differ by the slack (§3.5.3.2), and up to ``arc_slack_far`` times that as
    # long as it stays within ``arc_slack_share`` of the radius; up to ``full_circle_rad`` an arc counts as a full turn.
    arc_slack_mm: float = 0.002
    arc_slack_inch_mm: float = 0.0002 * MM_PER_INCH  # under G20
    arc_slack_far: float = 1.0
    arc_slack_share: float = 0.0
    full_circle_rad: float = 0.0


def _groups(*tables: Mapping[str, str]) -> Mapping[str, str]:
    return {code: group for table in tables for group, codes in table.items() for code in codes.split()}


NIST = Dialect(name="rs274ngc", groups=_groups(_COMMON, _NOT_GRBL, {"non-modal": "G92.2 G92.3"}), uses=_USES)
GRBL = Dialect(
    name="grbl-1.1",
    letters=frozenset("FGIJKLMNPRSTXYZ"),
    groups=_groups(_COMMON, _NOT_NIST),
    uses=_USES,
    systems=6,
    line_limit=SHORTEST_LIMIT,  # blanks, comments and / do not count
    line_number_max=10_000_000,
    arc_slack_mm=0.005,
    arc_slack_inch_mm=0.005,
    arc_slack_far=100.0,
    arc_slack_share=0.001,
    full_circle_rad=5e-7,
)
LINUXCNC = Dialect(
    name="linuxcnc",
    letters=LETTERS | frozenset("EUVW$@^"),
    # G92.2 and G92.3 are in a group of their own.
    groups=_groups(
        _COMMON,
        _NOT_GRBL,
        _NOT_NIST,
        {"g92-hold": "G92.2 G92.3", "arc-distance": "G90.1", "": " ".join(REFUSED)},
    ),
    # whole turns of an arc; how far corners may be rounded
    uses=_USES | {"G2": "IJKRP", "G3": "IJKRP", "G64": "PQ"},
    line_limit=252,
    line_number_max=2_147_483_647,
    arc_slack_mm=0.02 * 2**0.5,
    arc_slack_inch_mm=0.002 * 2**0.5 * MM_PER_INCH,
    arc_slack_far=100.0,
    arc_slack_share=0.001,
    full_circle_rad=1e-6,
)
DIALECTS: Mapping[str, Dialect] = {dialect.name: dialect for dialect in (NIST, GRBL, LINUXCNC)}
MAX_M_WORDS = 4  # §3.3.5
LEAST_PROBE_MM = 0.254  # §3.5.9; the controllers ask for some way only
WHOLE_NUMBER_SLACK = 0.0001  # §3.3.2.1: how near an integer a value that must be whole has to be
# LinuxCNC (interp_arc.cc); NIST and Grbl set no limit, and no bit cuts a smaller arc.
LEAST_RADIUS_MM = 0.00127
