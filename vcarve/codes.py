"""Every code a finding may have: how much it weighs and what it is about, in one table.

``refuse`` is what may ruin the piece, the bit or the machine with the spindle turning, or what cuts something else than the
job asks for; ``caution`` is what is worth a look.  A finding may weigh less than its code, never more.  Words a controller does
not know, lines it finds too long and everything else that cannot be read are no findings but faults of the reader: a program
with one is not judged.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

Severity = Literal["refuse", "caution"]
Codes = Mapping[str, tuple[Severity, str]]

# What a job can have, before there is a program.
OF_JOBS: Codes = {
    # The numbers.
    "collet": ("refuse", "no collet of the machine holds the bit's shank"),
    "too-shallow": ("refuse", "a groove that the program's last decimal cannot tell from none"),
    "thin-floor": ("caution", "hardly any wood is left under the deepest groove"),
    "travel-tight": ("caution", "hardly any travel is left to set the piece up in"),
    "chip": ("caution", "each cutting edge takes more or less of a chip than is usual in the wood"),
    "plunge-fast": ("caution", "the bit plunges faster than it cuts"),
    "step-too-small": ("refuse", "levels that the program's last decimal cannot tell apart"),
    "step-deep": ("caution", "the bit takes more at once than is usual in the wood"),
    "taper-too-short": ("caution", "loose ends rise so steeply that they stay round"),
    # A top that is not flat.
    "surface-off-piece": ("refuse", "hardly a place of 'surface' lies on the piece"),
    "surface-odd": ("refuse", "a place of 'surface' that is not where those round it lead"),
    "surface-zero": ("refuse", "heights of 'surface' that are not counted from the work zero"),
    "surface-beyond": ("refuse", "lines farther beyond the places of 'surface' than these tell of the top"),
    "surface-bowed": ("refuse", "heights of 'surface' that differ by more than the piece is thick"),
    "surface-cut-off": ("caution", "touches of 'surface' that do not end where they begin, at the zero"),
    # A pattern file or a drawing of one's own.
    "gap": ("caution", "ends of a pattern's lines that nearly meet: a cell stays open"),
    "group": ("caution", "a pattern's lines have another symmetry than its file says"),
    "repeat": ("caution", "a pattern repeats sooner than its lattice"),
    "drawing-read": ("caution", "what was taken for granted of a drawing"),
    "drawing-flattened": ("caution", "what lines of a drawing have that is not cut: dashes, movement, heights"),
    "drawing-ignored": ("caution", "what of a drawing is not cut"),
    "gap-closed": ("caution", "ends of a drawing's lines that nearly met, and were joined"),
    "doubled-line": ("caution", "lines of a drawing that lie on each other, and are cut once"),
    "drawing-clipped": ("caution", "some of a drawing lies outside, and is not cut"),
    "drawing-lost": ("refuse", "most of a drawing lies outside, and the job does not say that it is meant"),
    # The land, and how the whole looks.
    "land-lost": ("refuse", "most cells keep no land, and the job does not say that it is meant"),
    "land-vanished": ("caution", "some cells keep no land"),
    "land-uncertain": ("caution", "land that could vanish within what is known of the bit"),
    "land-broken": ("caution", "the land of some cells falls apart into islands"),
    "weak-island": ("caution", "an island of land so small that it may break out"),
    "edge-sliver": ("caution", "a strip of land at the piece's edge so thin that it may break out"),
    "pitch-unusual": ("caution", "a pitch so large that little of the pattern is seen"),
    "groove-hairline": ("caution", "a groove too narrow to be seen"),
    # The cut-out.
    "cut-out-narrow": ("refuse", "a hole or a bay of the outline that the end mill does not get into"),
    "cut-out-corner": ("caution", "inner corners that the end mill leaves round"),
    "cut-out-tabs": ("refuse", "more tabs than there is room for round the outline"),
    "cut-out-surface": ("caution", "a cut-out of a board whose top is not flat"),
    "cut-out-loose": ("caution", "a cut-out without tabs: nothing holds the piece at its end"),
}  # fmt: skip

# What a panel can have: its wood and its frame.
OF_PANELS: Codes = {
    "gap-too-narrow": ("caution", "a panel's gaps do not take what its tiles grow in damp air"),
    "rebate-too-narrow": ("caution", "a frame's rebate does not cover the outer tiles in dry air"),
    "tiles-too-close": ("caution", "grooves of a tile reach the edge of the next one on a board or in a jig"),
    "jig-unknown": ("caution", "where the zeros of a jig are is not said, so that travel is not judged"),
    "movement-unknown": ("caution", "nothing is known of how a wood moves"),
    "moisture-far": ("caution", "moisture beyond what the figures of woods are meant for"),
}  # fmt: skip

# What a job and a program can have.
OF_BOTH: Codes = {
    "bit-too-short": ("refuse", "deeper than the bit's cone"),
    "clamp": ("refuse", "the bit meets a clamp"),
    "feed-too-fast": ("refuse", "a feed beyond the machine's largest on an axis"),
    "spindle-range": ("refuse", "a speed the spindle does not have"),
    "through-the-piece": ("refuse", "deeper than the piece is thick"),
    "travel": ("refuse", "the moves span more than the machine travels"),
}  # fmt: skip

# What only a program can have.
OF_PROGRAMS: Codes = {
    # The program by itself.
    "no-moves": ("refuse", "there is nothing to run"),
    "units-unset": ("refuse", "neither G20 nor G21 before the first move: an earlier program decides the size"),
    "modes-unset": ("refuse", "distance mode, feed mode or arc plane are left to an earlier program"),
    "no-end": ("refuse", "neither M2 nor M30"),
    "start-unknown": ("refuse", "an axis first moves by a distance (G91), from wherever the bit stands"),
    "offset-changed": ("refuse", "the program moves its own zero, so nobody knows where on the piece it cuts"),
    "place-unknown": ("refuse", "a cut with an axis that the program has not given a place, from wherever the bit stands"),
    "machine-coordinates": ("refuse", "G53, G28 or G30: where that is on the piece is not known"),
    "probe": ("refuse", "G38.2 with the spindle turning, or across from where it touched: where it stops is not known"),
    "tool-change": ("refuse", "another bit is another length: the depth of what follows is not known"),
    "path-tolerance": ("refuse", "G64 lets the controller round corners by more than the lines of a pattern bear"),
    "active-comment": ("refuse", "a comment that a controller carries out"),
    "long-number": ("refuse", "a number with more digits than Grbl keeps is another number there"),
    # Spindle.
    "spindle-off": ("refuse", "the bit is in the wood with the spindle off"),
    "spin-up": ("refuse", "the bit is in the wood before the spindle is at speed"),
    "spindle-backwards": ("refuse", "M4"),
    "spindle-in-wood": ("refuse", "the spindle is started or stopped while the bit is in the wood"),
    "pause-in-wood": ("refuse", "M0 or M1 with the bit turning in the wood: it burns"),
    "dwell-in-wood": ("refuse", "G4 with the bit in the wood: it burns"),
    "spindle-left-on": ("refuse", "no M5 before the end"),
    "ends-in-wood": ("refuse", "the program ends with the bit in the wood"),
    # The piece.
    "rapid-in-wood": ("refuse", "a rapid across below the surface"),
    "rapid-plunge": ("refuse", "a rapid down into the wood"),
    "full-circle": ("refuse", "an arc of a whole turn, or so small that a controller may make it one"),
    "rapid-low": ("refuse", "a rapid that touches the surface, or goes across all but touching it"),
    "shank-contact": ("refuse", "a shank wider than the cone stands in the wood"),
    "outside-piece": ("refuse", "below the surface beyond the piece's edge"),
    # The lines.
    "other-job": ("refuse", "most of the program lies beside this job's lines"),
    "line-missed": ("refuse", "a line, or a part of one, is not cut"),
    "cut-twice": ("refuse", "a line is cut again beyond what the job allows"),
    "stray-cut": ("refuse", "a cut where no line is"),
    "wrong-depth": ("refuse", "a line is cut deeper or shallower than the job asks for"),
    "level-too-early": ("refuse", "a line is cut in a level before the level above it"),
    "step-too-deep": ("refuse", "a line is cut deeper at once than the job's step"),
    "width-off": ("refuse", "a groove of the carved surface is not as wide as the bit and depth should make it"),
    # The cut-out.
    "piece-cut": ("refuse", "the end mill cuts into the piece"),
    "neighbour-cut": ("refuse", "the end mill cuts into another piece on the board"),
    "mill-plunge": ("refuse", "an end mill goes straight down into the wood, or more steeply than the job asks for"),
    "not-through": ("refuse", "the outline is not cut through where no tab is to stand"),
    "cut-direction": ("caution", "the end mill goes round the other way than the job asks"),
    "tab-off": ("refuse", "a tab is missing, or not as large as the job asks for"),
    # Habits.
    "feed-with-units": ("caution", "F beside G20 or G21: controllers disagree on which unit it has"),
    "units-change": ("caution", "the units change on the way"),
    "stop-with-motion": ("caution", "M5 beside a motion: it acts before the motion"),
    "first-move-across": ("caution", "the first move goes across before the bit is lifted"),
    "feed-low": ("caution", "a feed move across on the surface"),
    "spiral": ("caution", "an arc whose ends are not equally far from its centre"),
    "spindle-by-hand": ("caution", "spindle words for a spindle that the program does not switch"),
    "slower-than-job": ("caution", "a feed or spindle speed far below the job's own, often a slip of the units"),
    "no-job": ("caution", "without the job its lines, depths, piece and clamps are not judged"),
    "surface-unknown": ("caution", "nothing goes below Z0, and no job says where the piece's top is"),
    "zero-length": ("caution", "a feed move to where the bit already is"),
    "g92-left": ("caution", "G92 still holds at the end, and for the program after this one"),
    "bare-axes": ("caution", "axis words before any motion code: some controllers run them as a rapid"),
    "pause-running": ("caution", "M0 or M1 with the spindle turning"),
    "other-zero": ("caution", "the program works from another work zero than G54"),
    "block-delete": ("caution", "what runs is decided by a switch at the controller"),
    "not-judged": ("caution", "outside the plain subset: the dry run does not know all that it does"),
    "feed-slow": ("caution", "a feed so slow that the bit rubs and burns, often a slip of the units"),
    "faster-than-job": ("caution", "a feed or spindle speed above the job's own"),
}  # fmt: skip

CODES: Codes = {**OF_JOBS, **OF_PANELS, **OF_BOTH, **OF_PROGRAMS}
