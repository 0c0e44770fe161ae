"""Every check, provoked by one small program each: a cross of two lines and a half circle, all 1 mm deep, written by hand.

The zero is the centre of the piece's top, so that the program's figures are the piece's own.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from dryrun.test_corpus import CLEAN, CORPUS, FAULT, RAISED, job_for, program
from small_job import on_machine
from vcarve.codes import OF_BOTH, OF_PROGRAMS
from vcarve.dryrun.check import check
from vcarve.dryrun.track import waiting_mm
from vcarve.errors import MOST_NAMED, Finding, InputError, grouped
from vcarve.job.records import Job, load_job
from vcarve.layout.stages import Layout, lay_out
from vcarve.plane.arrays import Bools, Floats
from vcarve.program.moves import Moves
from vcarve.program.reader import read_program
from vcarve.proofing import check_program, target_of

PROGRAMS = Path(__file__).parent / "programs"
CROSS = (PROGRAMS / "cross.nc").read_text(encoding="ascii").splitlines()
# Found on the carved surface, see test_proofing, and of a cut-out, see test_outline.
MEASURED = {"width-off"}
OF_A_CUT_OUT = {"piece-cut", "neighbour-cut", "mill-plunge", "not-through", "cut-direction", "tab-off"}


@cache
def job_of(*sets: str) -> Job:
    """Return the cross's job, with some of its values changed."""
    return load_job(str(PROGRAMS / "cross.yaml"), sets)


@cache
def layout_of(*sets: str) -> Layout:
    """Return the lines and grooves of the cross."""
    return lay_out(job_of(*sets))


def edited(changes: dict[int, str]) -> str:
    """Return the program with some lines written otherwise; an empty text leaves the line out."""
    lines = [changes.get(number, line) for number, line in enumerate(CROSS, 1)]
    return "\n".join(line for line in lines if line) + "\n"


def judge(text: str, *sets: str, job: bool = True) -> tuple[Finding, ...]:
    """Return every finding of a program; without ``job`` it is judged alone."""
    known = job_of(*sets)
    start = waiting_mm(known.machine, known if job else None)
    reading = read_program(text, dialect=known.machine.dialect, start_mm=start)
    return check(reading, known.machine, target_of(layout_of(*sets)) if job else None)


def places(found: tuple[Finding, ...]) -> list[tuple[int | None, str]]:
    """Return line and code of each finding, in order; "~" before the code of a caution."""
    return [(one.line, one.code if one.severity == "refuse" else f"~{one.code}") for one in found]


# The cross in levels of 0.5 mm, each line there and back; the text is three lines longer for each of the lines.
LEVELS = {
    7: "G1 Z-0.5 F200\nG1 X20 F600\nG1 Z-1 F200",
    8: "G1 X-20 F600",
    11: "G1 Z-0.5 F200\nG1 Y10 F600\nG1 Z-1 F200",
    12: "G1 Y-10 F600",
    15: "G1 Z-0.5 F200\nG3 X-15 Y-10 I5 J0 F600\nG1 Z-1 F200",
    16: "G2 X-25 Y-10 I-5 J0 F600",
}
CLAMP = "clamps=[{x: 5 mm, y: 25 mm, width: 8 mm, height: 8 mm, above: 6 mm}]"  # -25..-17, 5..13 on the piece
OVER = {2: "G0 Z7"}  # the first lift, over that clamp

# name -> (changed lines, findings as (line, code), changed values of the job), with "~" before the code of a caution.  A text
# with several lines pushes what follows down.
CASES: dict[str, tuple[dict[int, str], list[tuple[int | None, str]], tuple[str, ...]]] = {
    "clean": ({}, [], ()),
    # The program by itself.
    "nothing moves": (
        dict.fromkeys(range(2, 18), ""),
        [*[(None, "line-missed")] * 5, (None, "no-moves")],
        (),
    ),
    "no units": ({1: "G17 G40 G49 G54 G80 G90 G94"}, [(2, "units-unset")], ()),
    "units too late": ({1: "G17 G90 G94", 4: "G4 P3\nG21"}, [(2, "units-unset"), (5, "~units-change")], ()),
    "no distance mode": ({1: "G17 G21 G94"}, [(2, "modes-unset")], ()),
    "no feed mode": ({1: "G17 G21 G90"}, [(7, "~modes-unset")], ()),
    "no plane": ({1: "G21 G90 G94"}, [(16, "modes-unset")], ()),
    "no end": ({19: ""}, [(18, "no-end")], ()),
    "incremental from nowhere": (
        {1: "G17 G21 G91 G94", 5: "G90\nG0 X-20 Y0"},
        [(2, "start-unknown")],
        (),
    ),
    "incremental after absolute": ({8: "G91\nG1 X40 F600\nG90"}, [], ()),
    "other zero from the start": ({1: "G17 G21 G55 G90 G94"}, [(1, "~other-zero")], ()),
    "other zero on the way": ({10: "G55\nG0 X0 Y-10"}, [(10, "offset-changed")], ()),
    "same zero again": ({10: "G54\nG0 X0 Y-10"}, [], ()),
    "first zero named on the way": ({1: "G17 G21 G40 G49 G90 G94", 10: "G54\nG0 X0 Y-10"}, [], ()),
    "zero written": ({2: "G10 L2 P1 X1 Y0 Z0\nG0 Z5", 5: "G0 X-20 Y0 Z5"}, [(2, "offset-changed")], ()),
    "zero where the bit stands": (
        {2: "G92 Z5 (nobody knows where)\nG0 Z5", 18: "M5\nG92.1"},
        [(2, "offset-changed"), (20, "~not-judged")],
        (),
    ),
    "G92 left": ({2: "G92 Z5\nG0 Z5"}, [(2, "~g92-left"), (2, "offset-changed")], ()),
    "G92 cancelled at the start": ({2: "G92.1\nG0 Z5"}, [(2, "~not-judged")], ()),
    "to machine zero, spindle off": (
        {18: "M5\nG53 G0 Z-1\nG53 G0 X0 Y0"},
        [(19, "~machine-coordinates"), (20, "~machine-coordinates")],
        (),
    ),
    "probing, spindle off": ({2: "G0 Z5\nG38.2 Z-2 F50\nG0 Z5"}, [(3, "~probe")], ()),
    "probing often": (
        {2: "G0 Z5\n" + "G38.2 Z-2 F50\nG0 Z5\n" * 25},
        [(line, "~probe") for line in range(3, 43, 2)],
        (),
    ),
    "probing, turning": ({9: "G0 Z1\nG38.2 Z-2 F50\nG0 Z1"}, [(10, "probe")], ()),
    "across from where it touched": ({2: "G0 Z5\nG38.2 Z-2 F50\nG0 X-20 Y0\nG0 Z5"}, [(3, "~probe"), (4, "probe")], ()),
    "to machine zero, turning": ({17: "G53 G0 Z0"}, [(17, "machine-coordinates")], ()),
    "home between passes": (
        {9: "G0 Z1\nG53 G0 Z-2\nG0 X0 Y-10", 10: "G0 Z1"},
        [(10, "machine-coordinates")],
        (),
    ),
    "feeding where a machine move left it": (
        {9: "G0 Z1\nG53 G0 Z0\nG1 X0 Y-10", 10: "G0 Z1"},
        [(10, "machine-coordinates"), (11, "place-unknown")],
        (),
    ),
    "no place before the plunge": ({5: ""}, [(None, "line-missed")] * 2 + [(6, "place-unknown"), (7, "place-unknown")], ()),
    "no place along the cut before it": (
        {5: "G0 Y0"},
        [*[(None, "line-missed")] * 2, (7, "place-unknown"), (8, "place-unknown")],
        (),
    ),
    "no height before a feed": (
        {2: "", 5: "G0 X-21 Y0", 6: "", 7: "G1 X-20 F200\nG1 Z-1"},
        [(4, "~first-move-across"), (5, "place-unknown")],
        (),
    ),
    "down at rapid after a machine move": (
        {9: "G0 Z1\nG53 G0 Z0\nG0 X5\nG0 Z-0.5\nG0 Z1"},
        [(10, "machine-coordinates"), (12, "rapid-plunge")],
        (),
    ),
    # What the reader takes and the checks do not model.
    "a long number": ({8: "G1 X20.0000000 F600"}, [(8, "~long-number")], ()),
    "a long number that is another": ({8: "G1 X0000000020 F600"}, [(None, "line-missed"), (8, "long-number")], ()),
    "an optional stop": ({10: "M1\nG0 X0 Y-10"}, [(10, "~pause-running")], ()),
    # Spindle.
    "never on": ({3: "", 4: "", 18: ""}, [(5, "spindle-off")] , ()),
    "on without speed": ({3: "S0 M3"}, [(7, "spindle-off")], ()),
    "no wait": ({4: ""}, [(6, "spin-up")], ()),
    "wait too short": ({4: "G4 P2.9"}, [(7, "spin-up")], ()),
    "wait before the start": ({3: "G4 P3", 4: "S10000 M3"}, [(7, "spin-up")], ()),
    "two waits": ({4: "G4 P1\nG4 P2"}, [], ()),
    "still waiting when made faster": ({3: "S5000 M3\nS10000", 4: "G4 P1.5"}, [(8, "spin-up")], ()),
    "a pause is a wait": ({4: "M0"}, [(4, "~pause-running")], ()),
    "faster without a wait": ({3: "S5000 M3", 10: "S10000\nG0 X0 Y-10"}, [(12, "spin-up")], ()),
    "faster with its share of a wait": ({3: "S5000 M3", 10: "S10000\nG4 P1.5\nG0 X0 Y-10"}, [], ()),
    "slower needs none": ({10: "S5000\nG0 X0 Y-10"}, [], ()),
    "stopped and on again without a wait": ({10: "M5\nG0 X0 Y-10\nM3"}, [(13, "spin-up")], ()),
    "stopped between passes": ({10: "M5\nG0 X0 Y-10"}, [(12, "spindle-off")], ()),
    "backwards": ({3: "S10000 M4"}, [(3, "spindle-backwards")], ()),
    "turned round on the way": ({10: "M4\nG0 X0 Y-10"}, [(10, "spindle-backwards"), (12, "spin-up")], ()),
    "too slow a spindle": ({3: "S500 M3"}, [(3, "spindle-range"), (7, "~slower-than-job")], ()),
    "a slow spindle": ({3: "S3300 M3"}, [(7, "~slower-than-job")], ()),
    "a third of the spindle's speed": ({3: "S3400 M3"}, [], ()),
    "the speed taken away in the wood": ({17: "S0\nG0 Z5"}, [(17, "spindle-in-wood")], ()),
    "too fast a spindle": ({3: "S20000 M3"}, [(3, "spindle-range"), (7, "~faster-than-job")], ()),
    "stopped in the wood": ({17: "M5\nG0 Z5", 18: ""}, [(17, "spindle-in-wood")], ()),
    "stopped beside the retract": ({17: "G0 Z5 M5", 18: ""}, [(17, "spindle-in-wood")], ()),
    "stopped beside a motion": ({17: "G0 Z1\nM5 G0 Z5", 18: ""}, [(18, "~stop-with-motion")], ()),
    "started in the wood": (
        {3: "", 4: "", 8: "S10000 M3\nG4 P3\nG1 X20 F600"},
        [(5, "spindle-off"), (6, "spindle-in-wood"), (7, "dwell-in-wood")],
        (),
    ),
    "on again while it turns": ({8: "M3\nG1 X20 F600"}, [], ()),
    "left on": ({18: ""}, [(18, "spindle-left-on")], ()),
    "ends in the wood": ({17: ""}, [(17, "spindle-in-wood"), (18, "ends-in-wood")], ()),
    "pause in the wood": ({8: "M0\nG1 X20 F600"}, [(8, "pause-in-wood")], ()),
    "optional stop in the wood": ({8: "M1\nG1 X20 F600"}, [(8, "pause-in-wood")], ()),
    "pause in the wood, by hand": (
        {3: "M0", 4: "", 8: "M0\nG1 X20 F600", 18: ""},
        [(7, "pause-in-wood")],
        ("machine=by-hand.yaml",),
    ),
    "a wait in the wood": ({8: "G4 P600\nG1 X20 F600"}, [(8, "dwell-in-wood")], ()),
    "short waits in the wood add up": ({8: "G4 P0.6\nG4 P0.6\nG1 X20 F600"}, [(8, "dwell-in-wood")], ()),
    "a short wait in the wood": ({8: "G4 P0.6\nG1 X20 F600"}, [(8, "~dwell-in-wood")], ()),
    "pause between passes": ({10: "M0\nG0 X0 Y-10"}, [(10, "~pause-running")], ()),
    "pause before a speed is set": ({3: "S0 M3", 4: "M0\nS10000\nG4 P3"}, [], ()),
    "by hand without a pause": ({}, [(3, "~spindle-by-hand"), (7, "spindle-off")], ("machine=by-hand.yaml",)),
    "by hand with a pause": ({3: "M0", 4: "", 18: ""}, [], ("machine=by-hand.yaml",)),
    "by hand with a pause too late": (
        {10: "M0\nG0 X0 Y-10"},
        [(3, "~spindle-by-hand"), (7, "spindle-off")],
        ("machine=by-hand.yaml",),
    ),
    "by hand, left in the wood": ({3: "M0", 4: "", 17: "", 18: ""}, [(16, "ends-in-wood")], ("machine=by-hand.yaml",)),
    # Speeds and travel.
    "too fast in Y": ({12: "G1 Y10 F1300"}, [(12, "~faster-than-job"), (12, "feed-too-fast")], ()),
    "too fast down": ({7: "G1 Z-1 F500"}, [(7, "~faster-than-job"), (7, "feed-too-fast")], ()),
    "an arc too fast in Y on its way along X": (
        {16: "G3 X-15 Y-10 I5 J0 F1300"},
        [(16, "~faster-than-job"), (16, "feed-too-fast")],
        (),
    ),
    "a spindle a little above the job's speed": ({3: "S10001 M3"}, [(7, "~faster-than-job")], ()),
    "a slanting feed is shared out": ({9: "G0 Z1\nG1 X11 Y9 F1600\nG0 X0 Y-10", 10: "G0 Z1"}, [], ()),
    "rubbing": ({8: "G1 X20 F5"}, [(8, "~feed-slow"), (8, "~slower-than-job")], ()),
    "feed one": ({8: "G1 X20 F1"}, [(8, "~feed-slow"), (8, "~slower-than-job")], ()),
    "a unit slipped": ({8: "G1 X20 F23.6"}, [(8, "~slower-than-job")], ()),
    "a third of the feed": ({8: "G1 X20 F201"}, [], ()),
    "creeping down": ({7: "G1 Z-1 F1"}, [(7, "dwell-in-wood"), (7, "~feed-slow")], ()),
    "creeping up": ({9: "G1 Z1 F1"}, [(9, "dwell-in-wood"), (9, "~feed-slow")], ()),
    "down a steep ramp": ({7: "G1 X-19.98 Z-1 F390\nG1 X-20 F600"}, [(7, "~faster-than-job")], ()),
    "travel": ({10: "G0 X190\nG0 X0 Y-10"}, [(10, "travel")], ()),
    "all of the travel": ({10: "G0 X175\nG0 X0 Y-10"}, [], ()),
    "a little more than the travel": ({10: "G0 X175.1\nG0 X0 Y-10"}, [(15, "travel")], ()),
    "machine coordinates say nothing of the span": ({18: "M5\nG53 G0 X-500\nG0 Y0"}, [(19, "~machine-coordinates")], ()),
    "travel of a bulging arc": ({9: "G0 Z1\nG0 X90 Y0\nG2 X-90 Y0 I-90 J0 F600\nG2 X90 Y0 I90 J0"}, [(12, "travel")], ()),
    "too high": ({17: "G0 Z45"}, [(17, "travel")], ()),
    # The piece.
    "rapid across in the wood": ({8: "G0 X20"}, [(None, "line-missed")] * 2 + [(8, "rapid-in-wood")], ()),
    "rapid up and across from the wood": ({9: "G0 X20.5 Z1"}, [(9, "rapid-in-wood")], ()),
    "rapid down and across into the wood": (
        {6: "", 5: "G0 X-20 Y0 Z-0.5", 7: "G1 Z-1 F200"},
        [(5, "rapid-in-wood")],
        (),
    ),
    "plunge at rapid": ({7: "G0 Z-1"}, [(7, "rapid-plunge")], ()),
    "rapid through the piece": ({7: "G0 Z-9\nG1 Z-1 F200"}, [(7, "shank-contact"), (7, "through-the-piece")], ()),
    "feed through the piece": (
        {7: "G1 Z-8.5 F200\nG1 Z-1"},
        [(7, "shank-contact"), (7, "through-the-piece"), (7, "wrong-depth")],
        (),
    ),
    "rapid on the surface": ({9: "G0 Z0"}, [(10, "rapid-low")], ()),
    "half a rounding below the surface": ({9: "G0 Z-0.0005"}, [(10, "rapid-low")], ()),
    "a rapid close to the surface": ({9: "G0 Z0.09"}, [(10, "~rapid-low")], ()),
    "a rapid clear of the surface": ({9: "G0 Z0.1"}, [], ()),
    "a whole rounding below the surface": ({9: "G0 Z-0.001"}, [(10, "rapid-in-wood")], ()),
    "feed on the surface": ({9: "G0 Z0\nG1 X0 Y-10", 10: ""}, [(10, "~feed-low")], ()),
    "rapid down onto the surface": ({6: "G0 Z0"}, [(6, "rapid-low")], ()),
    "a wait on the surface": ({9: "G0 Z0\nG4 P60\nG0 Z1"}, [(10, "dwell-in-wood")], ()),
    "ends on the surface": ({17: "G0 Z0"}, [(18, "spindle-in-wood"), (19, "ends-in-wood")], ()),
    "too deep for the bit": (
        {7: "G1 Z-3 F200\nG1 Z-1"},
        [(7, "bit-too-short"), (7, "shank-contact"), (7, "wrong-depth")],
        (),
    ),
    "deeper than a cone as wide as its shank": (
        {7: "G1 Z-3 F200\nG1 Z-1"},
        [(7, "bit-too-short"), (7, "wrong-depth")],
        ("bit.shank=4 mm",),
    ),
    "a shank deeper and deeper": (
        {7: "G1 Z-3 F200\nG1 Z-1", 11: "G1 Z-2.5 F200\nG1 Z-3.5\nG1 Z-1"},
        [
            *((line, code) for line in (7, 12, 13) for code in ("bit-too-short", "wrong-depth")),
            *((line, "shank-contact") for line in (7, 13)),
        ],
        (),
    ),
    "as deep as the bit's cone": ({7: "G1 Z-2 F200\nG1 Z-1"}, [(7, "wrong-depth")], ()),
    "a little too deep for the bit": (
        {7: "G1 Z-2.01 F200\nG1 Z-1"},
        [(7, "bit-too-short"), (7, "shank-contact"), (7, "wrong-depth")],
        (),
    ),
    "off the piece": ({8: "G1 X31 F600\nX20", 9: "G0 Z1"}, [(8, "outside-piece"), (8, "stray-cut"), (9, "stray-cut")], ()),
    "a rapid beside the piece": (
        {9: "G0 Z1\nG0 X40\nG0 Z-1\nG0 Z1"},
        [(11, "outside-piece"), (11, "rapid-plunge")],
        (),
    ),
    "an arc that bulges off the piece": (
        {9: "G2 X20 Y-2 I15 J-1 F600\nG0 Z1"},
        [(9, "outside-piece"), (9, "stray-cut")],
        (),
    ),
    "off the piece where lines may run off": (
        {8: "G1 X31 F600\nX20"},
        [(8, "stray-cut"), (9, "stray-cut")],
        ("pattern.ends=run-off",),
    ),
    "further off the piece than lines may run": (
        {8: "G1 X31.1 F600\nX20"},
        [(8, "outside-piece"), (8, "stray-cut"), (9, "stray-cut")],
        ("pattern.ends=run-off",),
    ),
    "an arc that dips": (
        {9: "G0 Z1\nG0 X8 Y8\nG18\nG1 Z0.5 F200\nG2 X12 Z0.5 I2 K2\nG17\nG0 Z1"},
        [(13, "~not-judged"), (13, "wrong-depth")],
        (),
    ),
    "an arc that dips through the piece": (
        {9: "G0 Z1\nG0 X0 Y8\nG18\nG1 Z0.5 F200\nG2 X0 Z0.5 I0 K-4.8\nG17\nG0 Z1"},
        [(13, code) for code in ("~full-circle", "~not-judged", "shank-contact", "through-the-piece", "wrong-depth")],
        (),
    ),
    # Clamps.
    "clamp": ({10: "G0 X-20 Y10\nG0 X0 Y-10"}, [(10, "clamp"), (11, "clamp")], (CLAMP,)),
    "over the clamp": ({9: "G0 Z6", 10: "G0 X-20 Y10\nG0 X0 Y-10\nG0 Z1"}, [], (CLAMP,)),
    "past the clamp, shank and all": (
        {10: "G0 X-14.5 Y1.5\nG0 Y9\nX-13.9\nX0\nG0 Y-10"},
        [(11, "clamp"), (12, "clamp")],
        (CLAMP,),
    ),
    "past the clamp's top with the cone": (
        {9: "G0 Z5\nG0 X-16.2 Y9\nG0 X-15.9\nG0 X0 Y-10", 10: "G0 Z1"},
        [(10, "clamp"), (11, "clamp")],
        (CLAMP,),
    ),
    "round a clamp longer than wide": (
        {10: "G0 X-17.9 Y16\nG0 Y19.5\nG0 X-23\nG0 X-17.9\nG0 Y-10\nG0 X0"},
        [(12, "clamp"), (13, "clamp")],
        (CLAMP.replace("width: 8 mm, height: 8 mm", "width: 4 mm, height: 12 mm"),),
    ),
    "back from a machine move beyond the clamp": (
        {9: "G0 Z1\nG0 Y9\nG53 G0 X-100\nG0 X0"},
        [(11, "machine-coordinates"), (12, "clamp")],
        (CLAMP,),
    ),
    "back from a machine move above the clamp": (
        {9: "G0 Z7\nG0 Y9\nG53 G0 X-100\nG0 X0\nG0 Y-10\nG0 Z1"},
        [(11, "machine-coordinates")],
        (CLAMP,),
    ),
    "from nowhere below the clamp": ({2: "G0 Z2"}, [(5, "clamp")], (CLAMP,)),
    "an arc round the clamp": (
        {9: "G0 Z1\nG0 X0 Y2\nG3 X-36 Y2 I-18 J0 F600\nG0 Y-10", 10: "G0 X0 Y-10"},
        [],
        (CLAMP,),
    ),
    "an arc through the clamp": (
        {9: "G0 Z1\nG0 X-8 Y2\nG3 X-28 Y2 I-10 J0 F600\nG0 X-29 Y-10", 10: "G0 X0 Y-10"},
        [(11, "clamp")],
        (CLAMP,),
    ),
    "down beside the clamp": (
        {9: "G0 Z7\nG0 X-15 Y9\nG0 Z3\nG0 Z7", 10: "G0 X0 Y-10"},
        [(11, "clamp"), (12, "clamp")],
        (CLAMP,),
    ),
    "feed into the clamp": (
        {9: "G0 Z1\nG1 X-20 Y0.5 F600", 10: "Y9\nY0.5\nG0 X0 Y-10"},
        [(11, "clamp"), (12, "clamp")],
        (CLAMP,),
    ),
    # The lines.
    "a line missed": ({11: "", 12: ""}, [(None, "line-missed")] * 2, ()),
    "a part missed": ({8: "G1 X15 F600"}, [(None, "line-missed")], ()),
    "a gap": ({8: "G1 X4 F600\nG0 Z1\nG0 X5\nG1 Z-1 F200\nG1 X20 F600"}, [(None, "line-missed")], ()),
    "a split": ({8: "G1 X4 F600\nG0 Z1\nG1 Z-1 F200\nG1 X20 F600"}, [], ()),
    "cut once again": ({9: "G1 X-20\nG0 Z1"}, [], ()),
    "cut once again, never allowed": ({9: "G1 X-20\nG0 Z1"}, [(9, "cut-twice")], ("plan.recut=never",)),
    "cut once too often": ({9: "G1 X-20\nX20\nG0 Z1"}, [(10, "cut-twice")], ()),
    "gone along once more than there are levels": (LEVELS | {9: "G1 X20\nG0 Z1"}, [], ("groove.step=0.6",)),
    "gone along twice more than there are levels": (
        LEVELS | {9: "G1 X20\nX-20\nG0 Z1"},
        [(12, "cut-twice")],
        ("groove.step=0.6",),
    ),
    "the second level before the first": (
        LEVELS | {7: "G1 Z-1 F200\nG1 X20 F600\nG1 Z-0.5 F200"},
        [(8, "level-too-early")],
        ("groove.step=0.6",),
    ),
    "in one level instead of two": ({}, [(n, "step-too-deep") for n in (8, 12, 16)], ("groove.step=0.6",)),
    "in levels as deep as the step": (LEVELS, [], ("groove.step=0.5",)),
    "in levels deeper than the step by no more than rounding": (LEVELS, [], ("groove.step=0.499",)),
    "in levels deeper than the step": (
        LEVELS,
        [(n, "step-too-deep") for n in (8, 10, 14, 16, 20, 22)],
        ("groove.step=0.49",),
    ),
    "in levels but for a part of a line": (
        LEVELS | {7: "G1 Z-0.5 F200\nG1 X10 F600\nG0 Z1\nX20\nG1 Z-1 F200"},
        [(12, "step-too-deep")],
        ("groove.step=0.5",),
    ),
    "a slope down into the wood deeper than the step": (
        LEVELS | {7: "G1 Z0 F200\nG1 X20 Z-1 F600"},
        [(8, "step-too-deep"), (9, "step-too-deep")],
        ("groove.step=0.5",),
    ),
    "a little deeper is not again": (
        {7: "G1 Z-0.9 F200\nG1 X20 F600\nG1 Z-1 F200", 8: "G1 X-20 F600"},
        [],
        ("plan.recut=never",),
    ),
    "stray": ({9: "G1 X22\nG0 Z1"}, [(9, "stray-cut")], ()),
    "a little beyond the line's end": ({8: "G1 X24 F600"}, [(8, "stray-cut")], ()),
    "beside the line": ({8: "G1 X20 Y0.05 F600"}, [(None, "line-missed")] * 2 + [(8, "stray-cut")], ()),
    "a plunge with a step aside": ({9: "G0 Z1\nG0 X5 Y5\nG1 X5.001 Z-0.5 F200\nG0 Z1"}, [(11, "stray-cut")], ()),
    "steps beside the line": (
        {9: "G91\n" + "G1 Y0.005\n" * 15 + "G90\nG0 Z1"},
        [(9 + k, "stray-cut") for k in range(1, 16)],
        (),
    ),
    "too deep with a step aside": ({7: "G1 X-19.999 Z-1.5 F200\nG1 X-20 Z-1"}, [(7, "wrong-depth")], ()),
    "stray plunge": ({9: "G0 Z1\nG0 X5 Y5\nG1 Z-0.5 F200\nG0 Z1"}, [(11, "stray-cut")], ()),
    "a plunge on a line": ({9: "G0 Z1\nG0 X5\nG1 Z-0.5 F200\nG0 Z1"}, [], ()),
    "a plunge on an arc": ({17: "G0 Z1\nG0 X-20 Y-15\nG1 Z-0.5 F200\nG0 Z5"}, [], ()),
    "a plunge too deep": ({7: "G1 Z-1.5 F200\nG1 Z-1"}, [(7, "wrong-depth")], ()),
    "a plunge too deep on a line": ({9: "G0 Z1\nG0 X5\nG1 Z-1.5 F200\nG0 Z1"}, [(11, "wrong-depth")], ()),
    "too deep": ({7: "G1 Z-1.2 F200"}, [(7, "wrong-depth"), (8, "wrong-depth")], ()),
    "too shallow": ({7: "G1 Z-0.9 F200"}, [(8, "wrong-depth")] * 2, ()),
    "a slope": ({8: "G1 X0 F600\nX20 Z-1.1", 9: "G0 Z1"}, [(9, "wrong-depth")], ()),
    "a slope, too shallow": ({8: "G1 X0 F600\nX20 Z-0.8", 9: "G0 Z1"}, [(9, "wrong-depth")], ()),
    "down the line, then along it": ({7: "G1 Z0 F200", 8: "G1 X20 Z-1 F200\nX-20 F600"}, [], ()),
    "the other way round": ({16: "G2 X-15 Y-10 I5 J0 F600"}, [(None, "line-missed"), (16, "stray-cut")], ()),
    "an arc with its ends all but together": (
        {9: "G2 X20.0005 Y0 I0 J-1\nG1 X20 F600\nG0 Z1"},
        [(9, "full-circle")],
        (),
    ),
    "a full circle": ({16: "G3 X-25 Y-10 I5 J0 F600"}, [(16, "~full-circle"), (16, "stray-cut")], ()),
    "a spiral": ({16: "G3 X-15 Y-10 I5.002 J0 F600"}, [(16, "~spiral")], ()),
    "an arc of another radius": ({16: "G3 X-15 Y-10 I5 J0.05 F600"}, [(None, "line-missed"), (16, "stray-cut")], ()),
    "another job's": (
        {5: "G0 X-19 Y1", 8: "G1 X21 F600", 10: "G0 X1 Y-9", 12: "G1 Y11 F600", 14: "G0 X-24 Y-9", 16: "G3 X-14 Y-9 I5 J0 F600"},
        [(8, "other-job")],
        (),
    ),
    # Habits.
    "feed beside units": ({1: "G17 G21 G90 G94 F600"}, [(1, "~feed-with-units")], ()),
    "units change": (
        {10: "G20\nG0 X0 Y-0.3937", 11: "G21\nG1 Z-1 F200", 12: "G1 Y10"},
        [(10, "~units-change"), (12, "~units-change")],
        (),
    ),
    "across before the lift": ({2: "G0 X-20 Y0\nG0 Z5"}, [(2, "~first-move-across")], ()),
    "no distance": ({9: "G1 X20\nG0 Z1"}, [(9, "~zero-length")], ()),
    "bare axes": ({2: "Z5"}, [(2, "~bare-axes")], ()),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_each_check_finds_its_line(name: str) -> None:
    """A program with one fault has the findings that fault brings, at their lines, and no others."""
    changes, expected, sets = CASES[name]
    if sets and sets[0].startswith("clamps"):
        changes = OVER | changes

    assert sorted(places(judge(edited(changes), *sets)), key=str) == sorted(expected, key=str)


def test_every_code_is_provoked() -> None:
    """Each code of programs has one, here or in the corpus, that brings it with its full weight; no other code is brought."""
    provoked = {code for _, expected, _ in CASES.values() for _, code in expected}
    for _, verdicts in CORPUS.values():
        provoked |= {verdicts} if isinstance(verdicts, str) else set(verdicts)
    alone = check_program(program(RAISED, "rs274ngc"), file="bed.nc", machine=job_for("rs274ngc").machine)
    provoked |= {code for _, code in places(alone.findings)}
    provoked -= {FAULT, CLEAN}

    codes = {code: said for code, said in {**OF_BOTH, **OF_PROGRAMS}.items() if code not in OF_A_CUT_OUT}
    assert {code.lstrip("~") for code in provoked} == set(codes) - MEASURED
    assert {code for code in codes if codes[code][0] == "refuse"} - MEASURED <= provoked
    assert not {code for code in codes if codes[code][0] == "caution"} & provoked


def test_machine_zero_with_the_spindle_off_is_only_a_caution() -> None:
    """Parking at machine coordinates after the spindle has stopped is common; on the way with it turning it is refused."""
    parked = judge(edited({18: "M5\nG53 G0 Z-1"}))
    turning = judge(edited({17: "G53 G0 Z0"}))

    assert [one.severity for one in parked] == ["caution"]
    assert [one.severity for one in turning] == ["refuse"]


def test_inches_by_mistake() -> None:
    """A program in millimetres that says G20 is refused for its travel, its feeds and its depths."""
    codes = {one.code for one in judge(edited({1: "G17 G20 G54 G90 G94"}))}

    assert {"travel", "feed-too-fast", "through-the-piece", "outside-piece", "line-missed"} <= codes


def test_a_bit_change_weighs_more_after_the_first_cut() -> None:
    """Asking for the bit at the start is a caution; changing it between cuts makes every later depth uncertain."""
    for before, severity in ((3, "caution"), (7, "caution"), (10, "refuse")):
        text = edited({before: f"M6 T1\n{CROSS[before - 1]}", 11: "S10000 M3\nG4 P3\nG1 Z-1 F200"})
        reading = read_program(text, dialect="rs274ngc", start_mm=(0.0, 0.0, 5.0))
        found = [one for one in check(reading, job_of().machine) if one.code == "tool-change"]

        assert [(one.line, one.severity) for one in found] == [(before, severity)]


def test_without_a_job_the_surface_is_at_zero() -> None:
    """A program alone is judged against the machine, and everything below Z0 is wood."""
    assert judge(edited({}), job=False) == ()
    assert places(judge(edited({8: "G0 X20", 11: "G0 Z-1"}), job=False)) == [
        (8, "rapid-in-wood"),
        (11, "rapid-plunge"),
    ]


def test_zero_on_the_bed() -> None:
    """With the zero on the bed the same heights lie one thickness higher, and the old ones go through the piece."""
    up, down = "G0 Z9", "G1 Z7 F200"
    raised = edited({2: "G0 Z13", 6: up, 7: down, 9: up, 11: down, 13: up, 15: down, 17: "G0 Z13"})

    assert judge(raised, "zero.z=bed") == ()
    assert "through-the-piece" in {one.code for one in judge(edited({}), "zero.z=bed")}


@pytest.mark.parametrize(
    ("line", "place"),
    [
        ("G1" + " X10.0000" + "0" * 90, "column 80"),
        ("G1 X10 B2", "column 8"),
        ("G7", "column 1"),
        ("G38.3 Z-5 F50", "column 1"),
        ("M6", "column 1"),
    ],
)
def test_what_the_controller_does_not_know_is_no_finding(line: str, place: str) -> None:
    """Words unknown to the target controller, lines too long for it and odd ways to probe are faults at their line and column."""
    with pytest.raises(InputError) as caught:
        judge(edited({10: f"{line}\nG0 X0 Y-10"}))

    assert [(one.line, one.key) for one in caught.value.problems] == [(10, place)]
    assert caught.value.exit_code == 2


@pytest.mark.parametrize(
    ("changes", "code", "place"),
    [
        # From Z1 at X20 Y0 down to Z-1 at X0 Y-10: half of the way is in the air.
        ({10: "G0 X0 Y-10 Z-1"}, "rapid-in-wood", (10.0, -5.0)),
        # The line ends at X20, the piece at X30.
        ({8: "G1 X40 F600"}, "stray-cut", (20.0, 0.0)),
        ({8: "G1 X40 F600"}, "outside-piece", (30.0, 0.0)),
        # The shank, 6 mm across, meets the clamp's front at Y5 with its rim.
        ({10: "G0 X-21 Y-10\nG0 Y20\nG0 X0 Y-10"}, "clamp", (-21.0, 2.0)),
        # From Z-1 to Z-9 the bottom of the piece, at Z-8, comes after seven eighths of 20 mm.
        ({12: "G1 Y10 Z-9 F600"}, "through-the-piece", (0.0, 7.5)),
    ],
)
def test_a_finding_stands_where_the_trouble_begins(
    changes: dict[int, str], code: str, place: tuple[float, float]
) -> None:
    """The place of a finding is the first at fault on its move, not the move's end."""
    found = [one for one in judge(edited(OVER | changes), CLAMP) if one.code == code]

    assert found[0].at_mm == pytest.approx(place, abs=0.03)


def test_very_many_findings_are_counted() -> None:
    """Of a kind of finding only the first are named; the last of them says how many others there are."""
    hops = "\n".join(f"G0 X{k} Y8\nG0 Z-0.5\nG0 Z1" for k in range(60))
    found = [one for one in judge(edited({9: f"G0 Z1\n{hops}"})) if one.code == "rapid-plunge"]

    assert [one.more for one in found] == [0] * (MOST_NAMED - 1) + [60 - MOST_NAMED]
    assert [group.count for group in grouped(found)] == [60]


@pytest.mark.parametrize("stop", ["G1 Z-1 F5", "G1 Z-1 F200\nG4 P0.1"])
def test_many_stops_in_the_wood_need_no_more_looks_at_every_move(
    monkeypatch: pytest.MonkeyPatch, stop: str
) -> None:
    """However often the bit creeps or waits in the wood, what takes a look at every move is worked out as often."""
    looks: list[str] = []

    def length_mm(moves: Moves) -> Floats:
        looks.append("length_mm")
        return np.full(len(moves), 2.0)

    def is_lost(moves: Moves, axes: str) -> Bools:
        looks.append("is_lost")
        return np.asarray(moves.lost[:, moves.columns(axes)].any(axis=1))

    monkeypatch.setattr(Moves, "length_mm", property(length_mm))
    monkeypatch.setattr(Moves, "is_lost", is_lost)
    counts = []
    for many in (30, 60):
        looks.clear()
        text = "\n".join([*CROSS[:6], *[f"G0 X{k}\n{stop}\nG0 Z1" for k in range(many)], *CROSS[-3:]])
        found = check(read_program(text, dialect="rs274ngc", start_mm=(0.0, 0.0, 5.0)), job_of().machine)
        assert sum(1 + one.more for one in found if one.code == "dwell-in-wood") == many
        counts.append(sorted(looks))

    assert counts[0] == counts[1]


@pytest.mark.parametrize(
    ("units", "within", "beyond"), [("mm", "600.05", "600.06"), ("inch", "600.12", "600.13")]
)
def test_a_feed_may_pass_the_jobs_by_its_rounding(units: str, within: str, beyond: str) -> None:
    """Feeds are written to 0.1 mm/min or 0.01 in/min (0.254 mm/min); half of that above the job's feed is rounding."""
    job = on_machine(job_of(), units=units, decimals=4)
    mill = job.machine
    for feed, codes in ((within, []), (beyond, ["faster-than-job"])):
        text = edited({8: f"G1 X20 F{feed}"})
        reading = read_program(text, dialect=mill.dialect, start_mm=waiting_mm(mill, job))
        found = check(reading, mill, target_of(replace(layout_of(), job=job)))

        assert [one.code for one in found] == codes


@pytest.mark.parametrize(
    ("units", "decimals", "mm"), [("mm", 3, 0.001), ("inch", 4, 0.00254), ("inch", 5, 0.000254)]
)
def test_the_last_decimal_of_a_program(units: str, decimals: int, mm: float) -> None:
    """A ten-thousandth of an inch is 2.54 micrometres: what counts as rounding follows from the unit written."""
    mill = on_machine(job_of(), units=units, decimals=decimals).machine

    assert mill.last_decimal_mm == pytest.approx(mm)
