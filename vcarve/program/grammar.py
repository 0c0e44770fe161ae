"""The grammar of programs: letters, codes, groups and limits, each once, under the clause it obeys.

Clauses are those of NISTIR 6556, "The NIST RS274NGC Interpreter - Version 3"; where a dialect differs its own rule is
given beside it.  Nothing here reads or writes a number: reader and writer share these tables and nothing else.

Codes are kept as ten times their number (``G38.2`` is 382), so that they are whole.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

DialectName = Literal["rs274ngc", "grbl-1.1", "linuxcnc"]

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

# Table 4: modal groups.  Two codes of one group must not stand on one line (§3.3.5).
NON_MODAL, MOTION, PLANE, DISTANCE, ARC_DISTANCE = "non-modal", "motion", "plane", "distance", "arc-distance"
FEED_MODE, UNITS, RADIUS, LENGTH, RETURN = "feed-mode", "units", "radius", "length", "return"
SYSTEM, PATH, G92_HOLD = "system", "path", "g92-hold"
STOP, TOOL_CHANGE, SPINDLE, COOLANT, OVERRIDES = "stop", "tool-change", "spindle", "coolant", "overrides"

# Table 5: G codes and their groups.
_G_NIST = {
    0: MOTION, 10: MOTION, 20: MOTION, 30: MOTION, 40: NON_MODAL, 100: NON_MODAL,
    170: PLANE, 180: PLANE, 190: PLANE, 200: UNITS, 210: UNITS, 280: NON_MODAL, 300: NON_MODAL, 382: MOTION,
    400: RADIUS, 410: RADIUS, 420: RADIUS, 430: LENGTH, 490: LENGTH, 530: NON_MODAL,
    540: SYSTEM, 550: SYSTEM, 560: SYSTEM, 570: SYSTEM, 580: SYSTEM, 590: SYSTEM, 591: SYSTEM, 592: SYSTEM, 593: SYSTEM,
    610: PATH, 611: PATH, 640: PATH,
    800: MOTION, 810: MOTION, 820: MOTION, 830: MOTION, 840: MOTION, 850: MOTION, 860: MOTION, 870: MOTION,
    880: MOTION, 890: MOTION,
    900: DISTANCE, 910: DISTANCE, 920: NON_MODAL, 921: NON_MODAL, 922: NON_MODAL, 923: NON_MODAL,
    930: FEED_MODE, 940: FEED_MODE, 980: RETURN, 990: RETURN,
}  # fmt: skip
# Table 7: M codes and their groups.
_M_NIST = {
    0: STOP, 10: STOP, 20: STOP, 300: STOP, 600: STOP, 60: TOOL_CHANGE, 30: SPINDLE, 40: SPINDLE, 50: SPINDLE,
    70: COOLANT, 80: COOLANT, 90: COOLANT, 480: OVERRIDES, 490: OVERRIDES,
}  # fmt: skip

# Grbl 1.1 (grbl/gcode.h): no canned cycles, no radius compensation, no tool change, G61 only, six systems.
_G_GRBL = {
    code: group
    for code, group in _G_NIST.items()
    if group != RETURN
    and not 810 <= code <= 890
    and code not in (410, 420, 430, 591, 592, 593, 611, 640, 922, 923)
} | {281: NON_MODAL, 301: NON_MODAL, 383: MOTION, 384: MOTION, 385: MOTION, 431: LENGTH, 911: ARC_DISTANCE}
_M_GRBL = {code: _M_NIST[code] for code in (0, 10, 20, 300, 30, 40, 50, 80, 90)}

# LinuxCNC (interp_array.cc): more of the same, and G92.2/G92.3 in a group of their own.
_G_LINUXCNC = (
    _G_NIST
    | dict.fromkeys(
        (50, 51, 52, 53, 330, 331, 383, 384, 385, 700, 710, 711, 712, 720, 721, 722, 730, 740, 760), MOTION
    )
    | dict.fromkeys((281, 301, 520), NON_MODAL)
    | dict.fromkeys((922, 923), G92_HOLD)
    | dict.fromkeys((171, 181, 191), PLANE)
    | dict.fromkeys((901, 911), ARC_DISTANCE)
    | dict.fromkeys((411, 421), RADIUS)
    | dict.fromkeys((431, 432), LENGTH)
    | {70: "diameter", 80: "diameter", 950: FEED_MODE, 960: "surface-speed", 970: "surface-speed"}
)
_M_LINUXCNC = (
    _M_NIST
    | {990: STOP, 190: SPINDLE, 610: TOOL_CHANGE}
    | dict.fromkeys((500, 510, 520, 530), OVERRIDES)
    | dict.fromkeys((620, 630, 640, 650, 660, 670, 680), "pins")
)

# Codes a dialect knows and that are not carried out, with the reason and what to do instead.
_CYCLE = "a drilling cycle makes several moves of one line, and controllers differ in its lifts; write them out as G0 and G1"
_RETURN = "it tells drilling cycles how far to lift, and these are not carried out; leave it out"
_RADIUS = "it shifts the path by a bit's radius that is not in the program; write the path of the bit's middle, and G40"
_LENGTH = "it shifts every depth by a tool's length; set the zero with the bit in the spindle, and write G49"
_PROBE = "of the probing moves only the one that must touch is read; write G38.2"
_LATHE = "it belongs to lathes; leave it out"
_FEED = "it ties the feed to the turning of the spindle; write G94 and F"
_SPLINE = "a spline is not followed; write G1, or arcs with G2 and G3"
REFUSED_G = MappingProxyType(
    dict.fromkeys((383, 384, 385), _PROBE)
    | dict.fromkeys((410, 411, 420, 421), _RADIUS)
    | dict.fromkeys((430, 431, 432), _LENGTH)
    | dict.fromkeys((730, 740, 810, 820, 830, 840, 850, 860, 870, 880, 890), _CYCLE)
    | dict.fromkeys((980, 990), _RETURN)
    | dict.fromkeys((70, 80, 700, 710, 711, 712, 720, 721, 722, 760, 960, 970), _LATHE)
    | dict.fromkeys((330, 331, 950), _FEED)
    | dict.fromkeys((50, 51, 52, 53), _SPLINE)
    | dict.fromkeys((171, 181, 191), "it is a plane of axes U, V and W; write G17, G18 or G19")
    | {520: "it moves the zero for a while; write G92 or G10 instead"}
)
_PINS = "what the machine's pins switch is not known from the text; leave it out"
_ONE_OVERRIDE = "it gives single speeds to the knobs of the controller or takes them; leave it out"
REFUSED_M = MappingProxyType(
    dict.fromkeys((620, 630, 640, 650, 660, 670, 680), _PINS)
    | dict.fromkeys((500, 510, 520, 530), _ONE_OVERRIDE)
    | {
        190: "it turns the spindle to an angle, which an engraving bit has no use for; leave it out",
        610: "it names the tool in the spindle by the machine's table; leave it out",
        990: "it begins the program again without end; write M2 or M30",
    }
)

# §3.5: which letters a code gives a meaning to.  F, S and T have one on every line; axis words go with MOTION, and
# with the codes of AXIS_USERS.  A letter nothing on the line uses is an error (table 3; Grbl error 36).
_USES = {20: "IJKR", 30: "IJKR", 40: "P", 100: "LP"}
_USES_LINUXCNC = _USES | {20: "IJKRP", 30: "IJKRP", 640: "PQ"}  # whole turns; how far corners may be rounded
ARCS = frozenset({20, 30})
PROBE = 382
# §3.5.5, §3.5.8, §3.5.18: codes outside the motion group that take the line's axis words.  One user a line (§3.4).
AXIS_USERS = frozenset({100, 280, 300, 920})
SHORTEST_LIMIT = 79  # significant characters of a line that every controller takes: Grbl's
# Table 7: codes that end the program.
PROGRAM_ENDS = frozenset({20, 300})

# The plain subset: what the NIST interpreter, Grbl 1.1 and LinuxCNC take alike, so that no more than the text is needed to know
# what it does.  G91.1 and G64 are plain for the controllers that have them.  T only selects; M6 would change.
PLAIN_G = frozenset(
    {0, 10, 20, 30, 40, 170, 180, 190, 200, 210, 400, 490, 540, 550, 560, 570, 580, 590, 610, 640, 800, 900, 910, 911, 930, 940}
)  # fmt: skip
PLAIN_M = frozenset({0, 20, 30, 40, 50, 80, 90, 300})
PLAIN_LETTERS = frozenset("FIJNPSTXYZ")
# Grbl 1.1 (grbl/nuts_bolts.c, read_float) keeps so many digits of a number, leading zeros counted, and drops the others.
MOST_DIGITS = 8
# Grbl 1.1 (grbl/serial.c) takes these from the stream at once, wherever they stand: a question about its state does nothing else.
LIVE, HARMLESS_LIVE = frozenset("!~\x18"), "?"
# LinuxCNC carries out a comment that begins with one of these words, blanks and case aside (G-code overview, "Comments";
# rs274ngc/interp_convert.cc): the word, with the comma where there has to be one, and what it does.
ACTIVE_COMMENTS = MappingProxyType(
    {
        "MSG,": "it shows a message",
        "DEBUG,": "it shows a message",
        "PRINT,": "it prints a message",
        "LOG,": "it writes to a file",
        "LOGOPEN,": "it opens a file and empties it",
        "LOGAPPEND,": "it opens a file to write to",
        "LOGCLOSE": "it closes a file",
        "PROBEOPEN": "it opens a file and empties it",
        "PROBECLOSE": "it closes a file",
        "ABORT,": "it stops the program where it is",
        "PY,": "it runs code on the controller",
        "PYRUN,": "it runs code on the controller",
        "PYRELOAD": "it runs code on the controller",
        "AXIS,": "it changes what the controller's screen shows",
        "PREVIEW,": "it changes what the controller's screen shows",
    }
)
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
    g_codes: Mapping[int, str]
    m_codes: Mapping[int, str]
    uses: Mapping[int, str]  # the letters that a code gives a meaning to
    axis_users: frozenset[int] = AXIS_USERS  # codes outside the motion group that take the line's axis words
    motion_needs_axes: bool = True  # §3.5.1, §3.5.2: a motion code without any is an error
    start_motion: int | None = (
        None  # in force before the first word; §3.4 prints no defaults, so axis words alone are an error
    )
    units_first: bool = False  # F has the unit of its own line; table 8
    systems: int = 9  # work systems, §3.5.13
    line_limit: int = 256  # characters without the line's end, §3.3
    limit_significant: bool = False  # blanks, comments and / do not count
    line_number_max: int = 99_999  # §3.3.1
    line_number_anywhere: bool = False
    keeps_digits: bool = False  # of a number the first MOST_DIGITS digits only
    semicolon_comments: bool = False  # §3.3.4 knows ( ) only
    needs_end: bool = True  # M2, M30 or a pair of percent signs, §3.1
    # An arc's radius at its start and at its end may differ by the slack (§3.5.3.2), and up to ``arc_slack_far`` times that as
    # long as it stays within ``arc_slack_share`` of the radius; up to ``full_circle_rad`` an arc counts as a full turn.
    arc_slack_mm: float = 0.002
    arc_slack_inch_mm: float = 0.0002 * 25.4  # under G20
    arc_slack_far: float = 1.0
    arc_slack_share: float = 0.0
    full_circle_rad: float = 0.0


DIALECTS: Mapping[str, Dialect] = MappingProxyType(
    {
        "rs274ngc": Dialect(name="rs274ngc", g_codes=_G_NIST, m_codes=_M_NIST, uses=_USES),
        "grbl-1.1": Dialect(
            name="grbl-1.1",
            letters=frozenset("FGIJKLMNPRSTXYZ"),
            g_codes=_G_GRBL,
            m_codes=_M_GRBL,
            uses=_USES,
            axis_users=AXIS_USERS | {490},
            motion_needs_axes=False,
            start_motion=0,
            units_first=True,  # gcode.c, step 4
            systems=6,
            line_limit=SHORTEST_LIMIT,
            limit_significant=True,
            line_number_max=10_000_000,
            line_number_anywhere=True,
            keeps_digits=True,
            semicolon_comments=True,
            needs_end=False,
            arc_slack_mm=0.005,
            arc_slack_inch_mm=0.005,
            arc_slack_far=100.0,
            arc_slack_share=0.001,
            full_circle_rad=5e-7,
        ),
        "linuxcnc": Dialect(
            name="linuxcnc",
            letters=LETTERS | frozenset("EOUVW$@^"),
            g_codes=_G_LINUXCNC,
            m_codes=_M_LINUXCNC,
            uses=_USES_LINUXCNC,
            motion_needs_axes=False,
            line_limit=252,
            line_number_max=2_147_483_647,
            semicolon_comments=True,
            arc_slack_mm=0.02 * 2**0.5,
            arc_slack_inch_mm=0.002 * 2**0.5 * 25.4,
            arc_slack_far=100.0,
            arc_slack_share=0.001,
            full_circle_rad=1e-6,
        ),
    }
)
MAX_M_WORDS = 4  # §3.3.5
LEAST_PROBE_MM = 0.254  # §3.5.9; the controllers ask for some way only
WHOLE_NUMBER_SLACK = 0.0001  # §3.3.2.1: how near an integer a value that must be whole has to be
# LinuxCNC (interp_arc.cc); NIST and Grbl set no limit, and no bit cuts a smaller arc.
LEAST_RADIUS_MM = 0.00127
MM_PER_INCH = 25.4
