"""A small tile for the tests of the page: its program written here by hand, read back, timed at constant rates."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from small_job import job_from
from vcarve.cuts.grooves import groove_cuts
from vcarve.dryrun import clock
from vcarve.errors import Finding
from vcarve.layout.stages import lay_out
from vcarve.plan.model import Plan, Proof
from vcarve.program.reader import read_program
from vcarve.proofing import check_program
from vcarve.run import DryRun, Made

HALF_MM = 50.0
RAPID_MM_MIN = 2000.0
WAIT_S = 3.0
HOSTILE = "Tile </script><b>bold</b> & \u2028 'x' \"y\" <!--slot:script-->"
CHIPS = "chip-low: 0.02, chip-high: 0.06, plunge-share: 0.3, step: 1"
JOB = f"""
piece: {{width: 100, height: 100, thickness: 12, wood: {{title: Maple <i>, {CHIPS}}}}}
pattern: {{name: kaku-asanoha, pitch: 50}}
groove: {{ground: 0.8, leaf: 0.6}}
bit: {{angle: 60, diameter: 3.175, shank: 3.175, tip: 0.1}}
machine: small-desktop
feed: {{cut: 600, plunge: 200, spindle: 10000}}
"""
PLAN = Plan(
    half_edge=np.zeros(21, np.int64),
    begin=np.zeros(21, np.int64),
    end=np.zeros(21, np.int64),
    recut=np.zeros(21, bool),
    pass_start=np.arange(22),
    hop_mm=1.0,
    cut_mm=1250.0,
    recut_mm=0.0,
    rapid_mm=900.0,
    levels=1,
    proof=Proof(plan_s=200.0, bound_s=190.0, cell_by_cell_s=400.0),
)


def strokes() -> list[list[tuple[float, float]]]:
    """Return one square hemp-leaf tile in closed form (half-squares joined from incentre to corners), origin at its centre."""
    h = HALF_MM
    near = h * (1.0 - math.sqrt(2.0) / 2.0)
    far = h * math.sqrt(2.0) / 2.0
    lines = [[(-h, 0.0), (h, 0.0)], [(0.0, -h), (0.0, h)], [(-h, -h), (h, h)], [(-h, h), (h, -h)]]
    for sx in (1, -1):
        for sy in (1, -1):
            lines.append([(sx * h, 0.0), (sx * far, sy * near), (0.0, 0.0)])
            lines.append([(0.0, sy * h), (sx * near, sy * far), (0.0, 0.0)])
            lines.append([(sx * far, sy * near), (sx * h, sy * h)])
            lines.append([(sx * near, sy * far), (sx * h, sy * h)])
    return lines


def program() -> str:
    """Return the tile as a program with its zero at the front left corner, and a circle of radius 20 cut with one arc."""
    lines = ["(Square hemp leaf)", "G17 G21 G40 G49 G80 G90 G94", "M3 S10000", "G4 P3", "G0 Z5"]
    for k, stroke in enumerate(strokes()):
        depth = 0.8 if k < 4 else 0.6
        (x, y), *others = [(a + HALF_MM, b + HALF_MM) for a, b in stroke]
        lines += [f"G0 X{x:.4f} Y{y:.4f}", "G0 Z1", f"G1 Z-{depth} F200"]
        lines += [f"G1 X{a:.4f} Y{b:.4f} F600" for a, b in others]
        lines += ["G0 Z1"]
    lines += ["G0 X70 Y50", "G1 Z-0.4 F200", "G2 X70 Y50 I-20 J0 F600", "G0 Z5", "M5", "M2"]
    return "\n".join(lines) + "\n"


@pytest.fixture(scope="session")
def tile() -> Made:
    """Return the run of this tile, with one finding of each weight and a title that tries to break out."""
    text = program()
    reading = read_program(text)
    moves = reading.moves
    speed = np.where(np.isnan(moves.feed_mm_min), RAPID_MM_MIN, moves.feed_mm_min) / 60.0
    duration = moves.length_mm / speed
    start = WAIT_S + np.concatenate([[0.0], np.cumsum(duration)[:-1]])
    job = job_from(JOB, title="Small desktop mill").model_copy(
        update={"title": HOSTILE}
    )  # more than a job file may say
    times = replace(
        clock.run(moves, job.machine), start_s=start, move_s=duration, total_s=float(start[-1] + duration[-1])
    )
    layout = lay_out(job)
    cuts, _ = groove_cuts(layout.network, layout.grooves.ends_depth_mm, job.step_mm)
    return Made(
        reading=reading,
        times=times,
        machine=job.machine,
        layout=layout,
        cuts=cuts,
        plan=PLAN,
        text=text,
        sentences=(),
        findings=(
            Finding("wrong-depth", "A groove is 0.2 mm too deep.", line=30, at_mm=(12.0, -20.0)),
            Finding("cut-twice", "A line is <u>cut</u> twice.", mild=True, line=44),
        ),
    )


@pytest.fixture(scope="session")
def bare() -> DryRun:
    """Return the same program dry-run without its job: no piece, bit, zero, speeds or plan."""
    return replace(check_program(program()), findings=())
