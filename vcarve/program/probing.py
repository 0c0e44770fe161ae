"""A program that touches a piece's top here and there, the spindle off, to tell how far from flat it is.

The first touch is at the work zero, from which heights and places are counted; the last is there again, to tell whether it
has drifted meanwhile.  A probing move goes down to a limit, beyond which
no contact is an error at the controller (G38.2), and up again alone before the next way across.
"""

from __future__ import annotations

from collections.abc import Iterator

from vcarve.job.records import Job
from vcarve.plane.arrays import NM_PER_MM, Floats
from vcarve.program.grammar import PROBE
from vcarve.program.text import Move, Section, comment, joined, plain
from vcarve.program.writer import Frame, idle, opening

FEED_MM_MIN = 60.0  # slow enough to stop at once where it touches: common practice, no source
FILE = "heights.txt"  # that LinuxCNC writes, and the job names as 'surface'


def probing(job: Job, places_mm: Floats, clear_mm: float, limit_mm: float) -> str:
    """Return the text of a program that probes at X and Y of the program (n, 2), before and after that at the work zero.

    Between probes the bit is ``clear_mm`` above the top as it is at the zero; none goes deeper than ``limit_mm`` below that.
    """
    return joined(_sections(job, places_mm, clear_mm, limit_mm))


def _sections(job: Job, places_mm: Floats, clear_mm: float, limit_mm: float) -> Iterator[Section]:
    machine, length = job.machine, job.figures.length
    writes = machine.dialect == "linuxcnc"
    if writes:
        # The file that it writes is in the program's unit (from memory), and does not say in which.
        machine = machine.model_copy(update={"units": "mm", "decimals": 3})
    job = job.model_copy(update={"surface": None, "machine": machine})
    frame = Frame(job)
    unit_mm, top_mm = machine.figures.unit_mm, frame.mount.top_nm / NM_PER_MM
    safe, clear = frame.clear(machine.safe_height_mm), frame.clear(clear_mm)
    deep = plain((top_mm - limit_mm) / unit_mm, machine.decimals)
    feed = frame.feed(min(FEED_MM_MIN, machine.feed_max.z_mm_min))
    notes = (
        (
            "Mizo",
            f"probes of {job.name}, {len(places_mm)} places after X0 Y0, no deeper than {length(limit_mm)} below the top",
        ),
        ("Machine", f"{machine.name}, {machine.dialect}"),
        (
            "Zero",
            f"X0 Y0 at the {job.zero.corner}, Z0 on the {job.zero.level}. The first touch is there, and the last",
        ),
        (
            "Caution",
            "The spindle stays off. Try the probe by hand before. Wood does not conduct: lay foil, or take a touch probe.",
        ),
        ("Caution", "Keep your hand at the stop. Not for cutting."),
    )
    header = [line for label, text in notes for line in comment(label, text)]
    yield [*header, *opening(job, arcs=False), *idle(job), Move("G0", z=safe)]
    if writes:
        yield [f"(PROBEOPEN {FILE})"]
    for x, y in ((0.0, 0.0), *places_mm.tolist(), (0.0, 0.0)):
        words = " ".join(
            f"{axis}{plain(mm / unit_mm, machine.decimals)}" for axis, mm in (("X", x), ("Y", y))
        )
        yield [Move("G0", words), Move("G0", z=clear), Move(PROBE, z=deep, feed=feed), Move("G0", z=clear)]
    if writes:
        yield ["(PROBECLOSE)"]
    yield [Move("G0", z=safe), machine.program_end]
