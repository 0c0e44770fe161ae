"""Programs that look harmless and are not, as three dialects read them, each with the verdict it must get.

Every text is the cross of ``programs/`` with some lines written otherwise.  What each controller makes of them is in its
published sources: NISTIR 6556; Grbl 1.1 (``grbl/gcode.c``, ``nuts_bolts.c``, ``protocol.c``); LinuxCNC
(``rs274ngc/interp_*.cc``).
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from small_job import on_machine
from vcarve.codes import CODES
from vcarve.errors import InputError
from vcarve.job.records import Job, load_job
from vcarve.program.grammar import DIALECTS, PLAIN, DialectName
from vcarve.proofing import check_program

PROGRAMS = Path(__file__).parent / "programs"
CROSS = (PROGRAMS / "cross.nc").read_text(encoding="ascii").splitlines()
NAMES: tuple[DialectName, ...] = ("rs274ngc", "grbl-1.1", "linuxcnc")
FAULT, CLEAN = "fault", "clean"
ACTED_ON = ("active-comment", "~active-comment", "active-comment")  # Grbl drops it
# The cross with its zero on the bed.
RAISED = {
    2: "G0 Z13",
    6: "G0 Z9",
    7: "G1 Z7 F200",
    9: "G0 Z9",
    11: "G1 Z7",
    13: "G0 Z9",
    15: "G1 Z7",
    17: "G0 Z13",
}


@cache
def job_for(dialect: DialectName) -> Job:
    """Return the cross's job for a mill with one kind of controller."""
    return on_machine(load_job(str(PROGRAMS / "cross.yaml")), dialect=dialect)


def judged(text: str, dialect: DialectName, *, alone: bool = False) -> set[tuple[str, str]] | None:
    """Return severity and code of every finding, ``alone`` without the job; ``None`` for a text that cannot be read."""
    job = job_for(dialect)
    try:
        found = check_program(text, file="cross.nc", machine=job.machine, job=None if alone else job).findings
    except InputError:
        return None
    return {(one.severity, one.code) for one in found if one.code != "no-job"}


def program(changes: dict[int, str], dialect: DialectName) -> str:
    """Return the cross's text with some lines written otherwise; it sets every mode that the dialect has."""
    modes = {"linuxcnc": " G61 G91.1", "grbl-1.1": " G61 G91.1", "rs274ngc": " G61"}[dialect]
    lines = {1: CROSS[0] + modes} | changes
    return "\n".join(lines.get(number, line) for number, line in enumerate(CROSS, 1)) + "\n"


def after(number: int, *texts: str) -> dict[int, str]:
    """Return lines put in after a line."""
    return {number: "\n".join((CROSS[number - 1], *texts))}


# name -> (changed lines, verdicts of the three dialects).  A verdict is clean, a fault, or the code that must be among the
# findings; the weight of all of them together is that code's, with "~" before it no more than a caution.  One verdict for all
# three stands alone.
CORPUS: dict[str, tuple[dict[int, str], str | tuple[str, str, str]]] = {
    "as it is": ({}, CLEAN),
    # The zero is moved, however the code is spelled.
    "G10.0": (after(9, "G10.0 L2 P1 Z-5"), "offset-changed"),
    "G10 with a point": (after(9, "G10. L2 P1 Z-5"), "offset-changed"),
    "G10 as nearly ten": (after(9, "G9.99999 L2 P1 Z-5"), ("offset-changed", FAULT, "offset-changed")),
    "G10 worked out": (after(9, "G[5*2] L2 P1 Z-5"), ("offset-changed", FAULT, "offset-changed")),
    "G10 from a parameter": (after(9, "#1=10", "G#1 L2 P1 Z-5"), ("offset-changed", FAULT, "offset-changed")),
    "G10 of another system": (after(9, "G10 L2 P2 Z-5"), "offset-changed"),
    "G10 L20": (after(9, "G10.0 L20 P1 Z6"), (FAULT, "offset-changed", "offset-changed")),
    "g 1 0": (after(9, "g 1 0 l 2 p 1 z - 5"), "offset-changed"),
    "G092": (after(9, "G092 Z6"), "offset-changed"),
    "G+92": (after(9, "G+92 Z6"), "offset-changed"),
    "G92 as nearly 92": (after(9, "G91.99999 Z6"), ("offset-changed", FAULT, "offset-changed")),
    "G92 worked out": (after(9, "G[92] Z6"), ("offset-changed", FAULT, "offset-changed")),
    "G92 by a function": (after(9, "Gabs[-92] Z6"), ("offset-changed", FAULT, "offset-changed")),
    "G92 behind other words": (after(9, "Z6 G92"), "offset-changed"),
    "G92 behind a comment": (after(9, "(G0 Z1) G92 Z6"), "offset-changed"),
    "G092.3": (after(9, "G092.3"), ("offset-changed", FAULT, "offset-changed")),
    "G92.1": (after(2, "G92.1"), "~not-judged"),
    "G92.2": (after(2, "G92.2"), ("~not-judged", FAULT, "~not-judged")),
    "G43.1": (after(2, "G43.1 Z1"), FAULT),
    "G43": (after(2, "G43 H1"), FAULT),
    "G52": (after(2, "G52 X1"), FAULT),
    "another zero from the start": (after(1, "G55"), "~other-zero"),
    "another zero, the ninth": (after(1, "G59.3"), ("~other-zero", FAULT, "~other-zero")),
    "another zero, and back before anything moves": ({2: "G55\nG54\nG0 Z5"}, CLEAN),
    "another zero on the way": (after(9, "G55"), "offset-changed"),
    # Numbers that one controller reads otherwise.
    "a rapid that looks like a feed": ({7: "G0000000001 Z-1 F200"}, ("long-number", "rapid-plunge", "~long-number")),
    "no speed": ({3: "S0000000010000 M3"}, ("long-number", "spindle-off", "~long-number")),
    "no lift": ({9: "G0 Z000000001"}, ("long-number", "rapid-low", "~long-number")),
    "nine digits, the last dropped": ({8: "G1 X20.0000000 F600"}, "~long-number"),
    "eight digits": ({8: "G1 X20.000000 F600"}, CLEAN),
    # Places that nobody knows.
    "no X and Y before the plunge": ({5: "(nothing)"}, "place-unknown"),
    "no X before the plunge": ({5: "G0 Y0"}, "place-unknown"),
    "no Z before a feed": ({2: "(nothing)", 6: "G1 X-19 F600\nG0 Z1\nG0 X-20"}, "place-unknown"),
    "G28 and a plunge": ({9: "G0 Z1\nM5\nG28\nS10000 M3\nG4 P3\nG1 Z-1 F200\nG0 Z1"}, "place-unknown"),
    "G30 and a plunge": ({9: "G0 Z1\nM5\nG30\nS10000 M3\nG4 P3\nG1 Z-1 F200\nG0 Z1"}, "place-unknown"),
    "rapid in after G53": (
        {3: "S10000 M3\nG53 G0 Z0", 6: "G0 X-10 Y5\nG0 Z-1.9\nG0 Z5\nG0 X-20 Y0\nG0 Z1"},
        "rapid-plunge",
    ),
    "down at a slope after G53": ({2: "G53 G0 Z0", 5: "G0 X-20 Y0 Z-0.5", 6: "G0 Z1"}, "rapid-in-wood"),
    "by a distance from nowhere": ({2: "G91\nG0 Z5\nG90"}, "start-unknown"),
    "by a distance after G28": ({18: "M5\nG28\nG91\nG0 Z-5\nG90"}, "start-unknown"),
    "G53 at a feed": (after(9, "G53 G1 Z-1 F100"), "machine-coordinates"),
    "parked at the end": (after(18, "G53 G0 Z-1"), "~machine-coordinates"),
    "a stored place overwritten": (after(9, "G28.1"), (FAULT, "~not-judged", "~not-judged")),
    "another stored place overwritten": (after(9, "G30.1"), (FAULT, "~not-judged", "~not-judged")),
    # Comments that are carried out.
    "code in a comment": (after(9, ';py,__import__("os").system("touch x")'), ACTED_ON),
    "code in brackets": (after(9, "( P y ,print)"), ACTED_ON),
    "a file opened": (after(9, "(LOGOPEN,x.txt)"), ACTED_ON),
    "a file opened to go on": (after(9, "(logappend,x.txt)"), ACTED_ON),
    "a file opened for probing": (after(9, "(PROBEOPEN x.txt)"), ACTED_ON),
    "stopped in the wood": (after(8, "(ABORT,x)"), ACTED_ON),
    "the preview switched off": (after(1, "(AXIS,hide)"), ACTED_ON),
    "a message": (after(9, "( m s g , hello)"), "~active-comment"),
    "a line printed": (after(9, "(PRINT,hello)"), "~active-comment"),
    "a comment beside a move": ({9: "G0 Z1 (LOG,here)"}, ACTED_ON),
    "people's words": (after(9, "(Logs of oak; printed, messages)"), CLEAN),
    "a question": (after(9, "(what?)"), ("~not-judged", "~not-judged", CLEAN)),
    "an exclamation": (after(9, "(stop!)"), ("~not-judged", FAULT, CLEAN)),
    "a reset after a semicolon": ({9: "G0 Z1 ; up\x18"}, ("~not-judged", FAULT, CLEAN)),
    "a comment inside a number": ({9: "G0 Z1(x)0"}, (FAULT, CLEAN, FAULT)),
    "a comment before the block delete sign": (after(8, "(x)/G1 Z-6"), (FAULT, "wrong-depth", FAULT)),
    "code called in a comment": (after(9, "(pyrun,x.py)"), ACTED_ON),
    "code loaded in a comment": (after(9, ";pyreload"), ACTED_ON),
    "a comment not closed": ({9: "G0 Z1 (up"}, (FAULT, CLEAN, FAULT)),
    "a semicolon": ({9: "G0 Z1 ; up"}, ("~not-judged", CLEAN, CLEAN)),
    # Corners rounded.
    "G64 with ten millimetres": (after(1, "G64 P10"), (FAULT, FAULT, "path-tolerance")),
    "a line of eighty signs": (
        {9: "N00009 G00Z01.00000 G17.00000 G40.00000 G54.00000 G61.00000 G90.00000 S10000.00 F0600.000"},
        ("~not-judged", FAULT, CLEAN),
    ),
    "G94 again and no feed": (after(7, "G94"), CLEAN),
    "G94 again in a cut": ({9: "G94\nX10\nG0 Z1"}, (FAULT, CLEAN, FAULT)),
    "G49 beside a lift": ({9: "G49 G0 Z1"}, ("~not-judged", FAULT, CLEAN)),
    "a code cut to hundredths": ({7: "G0.9999 Z-1 F200"}, (CLEAN, FAULT, CLEAN)),
    "an arc under G93": ({16: "G93 G3 X-15 Y-10 I5 J0 F38\nG94"}, ("~not-judged", FAULT, "~not-judged")),
    "a million turns": ({16: "G3 X-15 Y-10 I5 J0 P1000000 F600"}, FAULT),
    "home by Z alone": (after(18, "G91 G28 Z0"), "~machine-coordinates"),
    "G64 with ten by parameter": (after(1, "G64 P[20/2]"), (FAULT, FAULT, "path-tolerance")),
    "G64 in inches": ({1: "G17 G21 G90 G94 G61 G91.1\nG20\nG64 P0.01\nG21"}, (FAULT, FAULT, "path-tolerance")),
    "G64 with a wide Q": (after(1, "G64 P0.01 Q5"), (FAULT, FAULT, "path-tolerance")),
    "G64 with a little": (after(1, "G64 P0.05"), (FAULT, FAULT, "~path-tolerance")),
    "G64 close": (after(1, "G64 P0.01"), (FAULT, FAULT, "~modes-unset")),
    "G64 bare": (after(1, "G64"), ("~path-tolerance", FAULT, "path-tolerance")),
    "G64 P0": (after(1, "G64 P0"), (FAULT, FAULT, "path-tolerance")),
    "G61.1": (after(1, "G61.1"), ("~not-judged", FAULT, "~not-judged")),
    # A switch decides.
    "a cut behind /": (after(8, "/G1 Z-6 F100"), "wrong-depth"),
    "a lift behind /": ({9: "/G0 Z1"}, ("rapid-in-wood", CLEAN, "rapid-in-wood")),
    "a zero behind /": (after(9, "/G92 Z6"), "offset-changed"),
    "a fault behind /": (after(9, "/G1 X"), FAULT),
    "a note behind /": (after(9, "/(note)"), ("~block-delete", CLEAN, "~block-delete")),
    "an optional stop in the wood": (after(7, "M1"), "pause-in-wood"),
    "an optional stop in the air": (after(9, "M1"), "~pause-running"),
    # The bit stays in the wood, or all but.
    "ten minutes in the wood": (after(7, "G4 P600"), "dwell-in-wood"),
    "ten minutes a second at a time": (after(7, *["G4 P1"] * 600), "dwell-in-wood"),
    "half a second in the wood": (after(7, "G4 P0.5"), "~dwell-in-wood"),
    "a pause in the wood": (after(7, "M0"), "pause-in-wood"),
    "a pallet change in the wood": (after(7, "M60"), ("pause-in-wood", FAULT, "pause-in-wood")),
    "across at the surface": ({9: "G0 Z0"}, "rapid-low"),
    "across a hair under the surface": ({9: "G0 Z-0.0005"}, "rapid-low"),
    "across a hair over the surface": ({9: "G0 Z0.05"}, "~rapid-low"),
    "down at rapid by carry-over": ({7: "Z-1"}, "rapid-plunge"),
    "a cut after the end": (after(19, "G1 Z-6 F100"), ("~not-judged", "spindle-off", "~not-judged")),
    "an end on the way": (after(9, "M2"), ("line-missed", "spindle-off", "line-missed")),
    "off beside the lift": ({9: "G0 Z1 M5"}, "spindle-off"),
    # What is read and not modelled to the end.
    "M7": (after(2, "M7"), ("~not-judged", FAULT, "~not-judged")),
    "M8": (after(2, "M8"), "~not-judged"),
    "M48": (after(2, "M48"), ("~not-judged", FAULT, "~not-judged")),
    "M49": (after(2, "M49"), ("~not-judged", FAULT, "~not-judged")),
    "a change of bits": (after(2, "M6 T2"), ("~tool-change", FAULT, "~tool-change")),
    "a change of bits on the way": (after(9, "M6 T2"), ("tool-change", FAULT, "tool-change")),
    "a place worked out": (after(9, "G0 X[1-1] Y-10"), ("~not-judged", FAULT, "~not-judged")),
    "a parameter set": (after(9, "#7=1"), ("~not-judged", FAULT, "~not-judged")),
    "a named parameter": (after(9, "#<x>=1"), FAULT),
    "flow control": (after(9, "o100 sub"), FAULT),
    "an arc gone on with for two turns": ({16: "G3 X-15 Y-10 I5 J0 P3 F600"}, (FAULT, FAULT, "stray-cut")),
    "an arc by its radius": ({16: "G3 X-15 Y-10 R5 F600"}, "~not-judged"),
    "a drilling cycle": (after(9, "G98 G81 X5 Y0 Z-0.5 R1 F200", "G80"), FAULT),
    "a drilling cycle that pecks": (after(9, "G83 X5 Y0 Z-0.5 R1 Q0.2 F200", "G80"), FAULT),
    "how far cycles lift": (after(9, "G98"), FAULT),
    "the bit's radius": (after(9, "G41 D1"), FAULT),
    "probing with the spindle turning": (after(9, "G38.2 Z-5 F50"), "probe"),
    "probing before the spindle starts": (after(2, "G38.2 Z-5 F50", "G0 Z5"), "~probe"),
    "probing sideways": (after(2, "G0 X0 Y0", "G38.2 X9 F50", "G0 X0"), "~probe"),
    "across from where it touched": (after(2, "G0 X0 Y0", "G38.2 Z-5 F50", "G0 X3", "G0 Z5"), "probe"),
    "lifted by a distance from where it touched": (after(2, "G38.2 Z-5 F50", "G91", "G0 Z5", "G90"), "start-unknown"),
    "the zero set where it touched": (after(2, "G38.2 Z-5 F50", "G92 Z0", "G0 Z5"), "offset-changed"),
    "probing on by carry-over": (after(9, "G38.2 Z-5 F50", "X3"), "probe"),
    "another way of probing": (after(2, "G38.3 Z-5 F50"), FAULT),
    "a rotary axis": (after(9, "G0 A5"), FAULT),
    "arc centres left absolute": ({1: "G17 G21 G61 G90 G94"}, (CLEAN, CLEAN, "~modes-unset")),
    "path control left to others": ({1: "G17 G21 G90 G91.1 G94"}, (FAULT, CLEAN, "~modes-unset")),
    "feed mode left to others": ({1: "G17 G21 G61 G90"}, "~modes-unset"),
    "units left to others": ({1: "G17 G61 G90 G94"}, "units-unset"),
    # Other people's habits, which do no harm.
    "percent signs": ({1: "%\n" + CROSS[0] + " G61", 19: "M30\n%"}, (CLEAN, "~not-judged", "~modes-unset")),
    "a byte-order mark": ({1: "\ufeff" + CROSS[0] + " G61"}, "~not-judged"),
    "small letters and line numbers": ({7: "n70 g1 z-1 f200"}, CLEAN),
    "a tool selected": (after(2, "T1"), ("~not-judged", CLEAN, "~not-judged")),
    "a carriage return inside a line": ({9: "G0 Z1\rG0 X3"}, ("~not-judged", CLEAN, FAULT)),
}  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("dialect", NAMES)
@pytest.mark.parametrize("name", CORPUS)
def test_verdict(name: str, dialect: DialectName) -> None:
    """Each text is refused, cautioned, faulted or clean as it must be, whatever the spelling."""
    changes, verdicts = CORPUS[name]
    wanted = verdicts if isinstance(verdicts, str) else verdicts[NAMES.index(dialect)]

    found = judged(program(changes, dialect), dialect)

    if wanted == FAULT:
        assert found is None
        return
    assert found is not None
    refused = {code for severity, code in found if severity == "refuse"}
    if wanted == CLEAN:
        assert found == set()
    elif wanted.startswith("~"):
        assert not refused
        assert wanted[1:] in {code for _, code in found}
    else:
        assert wanted in refused


@pytest.mark.parametrize("dialect", NAMES)
def test_a_zero_on_the_bed_without_a_job_is_not_called_clean(dialect: DialectName) -> None:
    """Where nothing goes below Z0 the wood was not judged, and that is said; with a cut below Z0 it was."""
    assert ("caution", "surface-unknown") in (judged(program(RAISED, dialect), dialect, alone=True) or ())
    assert judged(program({}, dialect), dialect, alone=True) == set()


def test_a_rapid_into_the_wood_alone_is_judged() -> None:
    """A program whose only move below Z0 is a rapid has been judged: nothing says that it was not."""
    text = "G17 G21 G90 G94 G61\nG0 Z5\nG0 X0 Y0\nG0 Z-1\nG0 Z5\nM30\n"

    assert judged(text, "rs274ngc", alone=True) == {("refuse", "rapid-plunge")}


@pytest.mark.parametrize(("text", "line"), [("\ufeffG21\nM2\n", 1), ("G21\nG90\rG94\nM2\n", 2)])
def test_what_the_bytes_hold_is_told_at_its_line(text: str, line: int) -> None:
    """A byte-order mark stands on the first line, a lone carriage return on the line it breaks."""
    job = job_for("rs274ngc")
    found = check_program(text, file="x", machine=job.machine).findings

    assert found[0].code == "no-job"
    assert [one.line for one in found if one.code == "not-judged"] == [line]


@pytest.mark.slow
@pytest.mark.parametrize("dialect", NAMES)
@pytest.mark.parametrize("place", [2, 8, 9, 18])
def test_no_code_outside_the_plain_subset_is_silently_clean(dialect: DialectName, place: int) -> None:
    """The law: every code of a dialect that the plain subset lacks is a fault or has a finding, wherever it stands."""
    codes = [code for code in DIALECTS[dialect].groups if code not in PLAIN]
    words = ["", " X0 Y-10", " Z1", " X1 Y1 Z-0.5 R1", " P1 L2 X0", " P1"]

    silent = [
        code + more
        for code in codes
        for more in words
        if judged(program(after(place, code + more), dialect), dialect, alone=True) == set()
    ]

    assert silent == []


@pytest.mark.slow
@settings(deadline=None)
@given(data=st.data())
def test_how_a_code_is_spelled_changes_nothing(data: st.DataObject) -> None:
    """The law: a verdict is on what was read; leading zeros, signs, points, blanks, case and expressions are all one."""
    dialect = data.draw(st.sampled_from(NAMES))
    code = data.draw(st.sampled_from([10, 92, 53, 28, 55, 4, 64]))
    rest = {10: " L2 P1 Z-5", 92: " Z6", 53: " G0 Z0", 28: "", 55: "", 4: " P600", 64: ""}[code]
    zeros, point = (
        data.draw(st.sampled_from(["", "0", "00"])),
        data.draw(st.sampled_from(["", ".", ".0", ".00"])),
    )
    number = data.draw(st.sampled_from(["", "+"])) + zeros + str(code) + point
    if dialect != "grbl-1.1":
        number = data.draw(st.sampled_from([number, f"[{code}]", f"[{code - 3} + 3]", f"abs[{-code}]"]))
    text = data.draw(st.sampled_from(["G", "g", "G ", "\tg"])) + number + rest
    text = text.lower() if data.draw(st.booleans()) else text
    place = data.draw(st.sampled_from([7, 9]))

    found = judged(program(after(place, text), dialect), dialect, alone=True)
    plain = judged(program(after(place, f"G{code}{rest}"), dialect), dialect, alone=True)

    spoken = {"not-judged"}  # an expression is outside the plain subset besides
    assert found is None if plain is None else found is not None
    assert {one for one in plain or () if one[1] not in spoken} == {
        one for one in found or () if one[1] not in spoken
    }


def test_every_verdict_is_a_code() -> None:
    """The corpus names codes of the table only."""
    wanted = {
        one.lstrip("~")
        for _, verdicts in CORPUS.values()
        for one in ((verdicts,) if isinstance(verdicts, str) else verdicts)
    }

    assert wanted - {FAULT, CLEAN} <= set(CODES)
