"""Laws of comparing a program with its lines: a correct one is clean however it is cut up, and a fault is found at its line.

The programs come from a writer of these tests' own, which knows nothing of plans: every line is a move with its own plunge,
in any order and direction, split in two or joined with others along the same straight line.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from small_job import on_machine
from small_network import build
from vcarve.dryrun.check import check
from vcarve.dryrun.target import Target
from vcarve.dryrun.track import waiting_mm
from vcarve.errors import Finding
from vcarve.groove.land import measure
from vcarve.groove.model import Grooves
from vcarve.job.records import Job, load_job
from vcarve.network.model import Network
from vcarve.pattern.model import pattern
from vcarve.plane.region import rectangle
from vcarve.program.reader import read_program

JOB = str(Path(__file__).parent.parent / "dryrun" / "programs" / "cross.yaml")
DEPTHS = {0: 1.0, 1: 0.7, 2: 1.0}
# Straight lines only, arcs only, and lines whose crossings join long straight runs.
NETWORKS = [
    ("asanoha", 18.0),
    ("kaku-asanoha", 24.0),
    ("sayagata", 6.0),
    ("mie-kikko", 17.3),
    ("shippo", 12.0),
    ("seigaiha", 15.0),
    ("tatewaku", 11.0),
]
SHIFT_MM = 0.05


@cache
def job_of(*, arcs: bool, recut: str) -> Job:
    """Return a job whose machine takes arcs, or wants them as chords."""
    job = load_job(JOB, (f"plan.recut={recut}",))
    job = job.model_copy(update={"pattern": job.pattern.model_copy(update={"ends": "run-off"})})
    return on_machine(job, arcs=arcs)


@cache
def network_of(name: str, pitch_mm: float) -> tuple[Network, Grooves]:
    """Return a catalogue pattern on a small rectangle, and its grooves."""
    network = build(pattern(name, "."), region=rectangle(57.0, 38.0), pitch_mm=pitch_mm)
    return network, measure(network, job_of(arcs=True, recut="allow").bit, DEPTHS)


@dataclass(frozen=True)
class Cut:
    """One stroke: from a to b (mm on the piece) with a bulge, at a depth; the edges it cuts."""

    a: tuple[float, float]
    b: tuple[float, float]
    bulge: float
    depth_mm: float
    edges: tuple[int, ...]

    def turned(self) -> Cut:
        """Return the same stroke from its other end."""
        return replace(self, a=self.b, b=self.a, bulge=-self.bulge)


def strokes(network: Network, grooves: Grooves) -> list[Cut]:
    """Return one stroke for each edge."""
    xy = network.xy_mm
    return [
        Cut(
            a=tuple(xy[network.tail[e]].tolist()),
            b=tuple(xy[network.head[e]].tolist()),
            bulge=float(network.bulge[e]),
            depth_mm=float(grooves.depth_mm[e]),
            edges=(int(e),),
        )
        for e in np.flatnonzero(network.cut)
    ]


def split(cut: Cut, share: float) -> list[Cut]:
    """Return the stroke in two, the first having a share of its length."""
    (ax, ay), (bx, by) = cut.a, cut.b
    if cut.bulge == 0.0:
        middle = (ax + share * (bx - ax), ay + share * (by - ay))
        bulges = (0.0, 0.0)
    else:
        sweep = 4.0 * math.atan(cut.bulge)
        off = 0.5 / math.tan(sweep / 2.0)
        cx, cy = 0.5 * (ax + bx) - off * (by - ay), 0.5 * (ay + by) + off * (bx - ax)
        angle = math.atan2(ay - cy, ax - cx) + share * sweep
        radius = math.hypot(ax - cx, ay - cy)
        middle = (cx + radius * math.cos(angle), cy + radius * math.sin(angle))
        bulges = (math.tan(share * sweep / 4.0), math.tan((1.0 - share) * sweep / 4.0))
    return [replace(cut, b=middle, bulge=bulges[0]), replace(cut, a=middle, bulge=bulges[1])]


def joined(cuts: list[Cut], rng: random.Random) -> list[Cut]:
    """Return some straight strokes of equal depth that go on from each other in the same direction, joined."""
    done: list[Cut] = []
    for cut in cuts:
        for k, other in enumerate(done):
            if cut.bulge or other.bulge or cut.depth_mm != other.depth_mm or rng.random() < 0.3:
                continue
            for mine in (cut, cut.turned()):
                ux, uy = mine.b[0] - mine.a[0], mine.b[1] - mine.a[1]
                vx, vy = other.b[0] - other.a[0], other.b[1] - other.a[1]
                cross, dot = ux * vy - uy * vx, ux * vx + uy * vy
                straight = abs(cross) < 1e-6 * math.hypot(ux, uy) * math.hypot(vx, vy) and dot > 0.0
                if straight and math.dist(other.b, mine.a) < 1e-6:
                    done[k] = replace(other, b=mine.b, edges=(*other.edges, *mine.edges))
                    break
            else:
                continue
            break
        else:
            done.append(cut)
    return done


def varied(cuts: list[Cut], rng: random.Random) -> list[Cut]:
    """Return the strokes joined here, split there, turned round and in another order."""
    result = []
    for cut in joined(cuts, rng):
        long_ = math.dist(cut.a, cut.b) > 2.0
        result.extend(split(cut, rng.uniform(0.2, 0.8)) if long_ and rng.random() < 0.2 else [cut])
    rng.shuffle(result)
    return [cut.turned() if rng.random() < 0.5 else cut for cut in result]


def chords(cut: Cut) -> list[tuple[float, float]]:
    """Return points along an arc whose chords stay within 0.002 mm of it, the end last."""
    sweep = 4.0 * math.atan(cut.bulge)
    radius = math.dist(cut.a, cut.b) / (2.0 * abs(math.sin(sweep / 2.0)))
    count = math.ceil(abs(sweep) / (2.0 * math.acos(1.0 - 0.002 / radius)))
    points, rest = [], cut
    for left in range(count, 1, -1):
        first, rest = split(rest, 1.0 / left)
        points.append(first.b)
    return [*points, cut.b]


def written(cuts: list[Cut], *, arcs: bool) -> tuple[str, list[int], list[list[int]]]:
    """Return the program, the line of each stroke's plunge, and the lines of its moves."""
    lines = ["G17 G21 G54 G90 G94", "G0 Z5", "S10000 M3", "G4 P3"]
    plunges, moves = [], []
    for cut in cuts:
        lines += [f"G0 X{cut.a[0]:.3f} Y{cut.a[1]:.3f}", f"G1 Z-{cut.depth_mm:.3f} F200"]
        plunges.append(len(lines))
        if cut.bulge == 0.0:
            lines.append(f"G1 X{cut.b[0]:.3f} Y{cut.b[1]:.3f} F600")
        elif arcs:
            off = 0.5 / math.tan(2.0 * math.atan(cut.bulge))
            dx, dy = (round(cut.b[k], 3) - round(cut.a[k], 3) for k in (0, 1))
            code = "G3" if cut.bulge > 0.0 else "G2"
            i, j = 0.5 * dx - off * dy, 0.5 * dy + off * dx
            lines.append(f"{code} X{cut.b[0]:.3f} Y{cut.b[1]:.3f} I{i:.4f} J{j:.4f} F600")
        else:
            lines += [f"G1 X{x:.3f} Y{y:.3f} F600" for x, y in chords(cut)]
        moves.append(list(range(plunges[-1] + 1, len(lines) + 1)))
        lines.append("G0 Z1")
    lines += ["G0 Z5", "M5", "M30"]
    return "\n".join(lines) + "\n", plunges, moves


def judge(text: str, name: str, pitch_mm: float, job: Job) -> tuple[Finding, ...]:
    """Return every finding of a program against a network."""
    network, grooves = network_of(name, pitch_mm)
    start = waiting_mm(job.machine, job)
    reading = read_program(text, dialect=job.machine.dialect, start_mm=start)
    return check(
        reading, job.machine, Target(job, network, grooves, shapely.box(-200.0, -200.0, 200.0, 200.0))
    )


LAW = settings(deadline=None, derandomize=True, max_examples=60)
SEEDS = st.integers(0, 10**6)


@LAW
@given(which=st.sampled_from(NETWORKS), seed=SEEDS, arcs=st.booleans())
def test_a_correct_program_is_clean_however_it_is_cut_up(
    which: tuple[str, float], seed: int, arcs: bool
) -> None:
    """Order, direction, splits, joins, and chords instead of arcs change nothing: no line missed, none cut twice."""
    cuts = varied(strokes(*network_of(*which)), random.Random(seed))
    text, _, _ = written(cuts, arcs=arcs)

    assert judge(text, *which, job_of(arcs=arcs, recut="never")) == ()


@LAW
@given(which=st.sampled_from(NETWORKS), seed=SEEDS, arcs=st.booleans())
def test_a_stroke_left_out_is_missed(which: tuple[str, float], seed: int, arcs: bool) -> None:
    """Leaving a stroke out brings one finding for each edge it would have cut, and nothing else.

    Half of a stroke along several edges may not come to all of them.
    """
    rng = random.Random(seed)
    cuts = varied(strokes(*network_of(*which)), rng)
    gone = cuts.pop(rng.randrange(len(cuts)))
    found = judge(written(cuts, arcs=arcs)[0], *which, job_of(arcs=arcs, recut="never"))

    assert {one.code for one in found} == {"line-missed"}
    assert len(found) <= len(gone.edges)


@LAW
@given(which=st.sampled_from(NETWORKS), seed=SEEDS)
def test_a_shifted_end_strays(which: tuple[str, float], seed: int) -> None:
    """A straight stroke whose end is off by a twentieth of a millimetre is stray at its line, and its edges are missed."""
    rng = random.Random(seed)
    cuts = varied(strokes(*network_of(*which)), rng)
    straight = [k for k, cut in enumerate(cuts) if cut.bulge == 0.0 and math.dist(cut.a, cut.b) > 1.0]
    if not straight:
        return
    k = rng.choice(straight)
    cut = cuts[k]
    length = math.dist(cut.a, cut.b)
    ux, uy = (cut.b[0] - cut.a[0]) / length, (cut.b[1] - cut.a[1]) / length
    cuts[k] = replace(cut, b=(cut.b[0] - SHIFT_MM * uy, cut.b[1] + SHIFT_MM * ux))
    text, _, moves = written(cuts, arcs=True)
    found = judge(text, *which, job_of(arcs=True, recut="never"))

    assert {one.code for one in found} - {"outside-piece"} == {"stray-cut", "line-missed"}
    assert [one.line for one in found if one.code == "stray-cut"] == moves[k]
    assert sum(one.code == "line-missed" for one in found) <= len(cut.edges)


@LAW
@given(which=st.sampled_from(NETWORKS), seed=SEEDS, arcs=st.booleans(), by=st.sampled_from([-0.05, 0.05]))
def test_a_wrong_depth_is_found(which: tuple[str, float], seed: int, arcs: bool, by: float) -> None:
    """A stroke too deep or too shallow is found at one of its own lines, and nowhere else."""
    rng = random.Random(seed)
    cuts = varied(strokes(*network_of(*which)), rng)
    k = rng.randrange(len(cuts))
    cuts[k] = replace(cuts[k], depth_mm=cuts[k].depth_mm + by)
    text, plunges, moves = written(cuts, arcs=arcs)
    found = judge(text, *which, job_of(arcs=arcs, recut="never"))

    assert {one.code for one in found} == {"wrong-depth"}
    assert {one.line for one in found} <= {plunges[k], *moves[k]}


@LAW
@given(which=st.sampled_from(NETWORKS), seed=SEEDS, arcs=st.booleans())
def test_a_stroke_repeated_is_cut_twice(which: tuple[str, float], seed: int, arcs: bool) -> None:
    """A stroke done again is found at its moves if it may never be, and if it may it takes a third time to be found."""
    rng = random.Random(seed)
    cuts = varied(strokes(*network_of(*which)), rng)
    chosen = [cut for cut in cuts if math.dist(cut.a, cut.b) > 0.5]
    twice = rng.choice(chosen)
    text, _, moves = written([*cuts, twice], arcs=arcs)

    never = judge(text, *which, job_of(arcs=arcs, recut="never"))
    named = [one for one in never if not one.sentence.startswith("And ")]
    assert {one.code for one in never} == {"cut-twice"}
    assert {one.line for one in named} <= set(moves[-1])
    assert named[0].line == moves[-1][0]
    assert judge(text, *which, job_of(arcs=arcs, recut="allow")) == ()


@LAW
@given(which=st.sampled_from(NETWORKS), seed=SEEDS)
def test_a_stroke_across_cells_strays(which: tuple[str, float], seed: int) -> None:
    """A stroke between two places taken at random is stray at its plunge and at its move, and nothing else is found."""
    rng = random.Random(seed)
    cuts = varied(strokes(*network_of(*which)), rng)
    a, b = ((rng.uniform(-27.0, 27.0), rng.uniform(-18.0, 18.0)) for _ in range(2))
    wild = Cut(a=a, b=b, bulge=0.0, depth_mm=0.5, edges=())
    at = rng.randrange(len(cuts))
    text, plunges, moves = written([*cuts[:at], wild, *cuts[at:]], arcs=True)
    found = judge(text, *which, job_of(arcs=True, recut="never"))

    assert {one.code for one in found} == {"stray-cut"}
    assert moves[at][0] in {one.line for one in found}
    assert {one.line for one in found} <= {plunges[at], *moves[at]}


@pytest.mark.parametrize("other", ["shippo", "kaku-asanoha"])
def test_another_jobs_program_is_told_in_one_sentence(other: str) -> None:
    """A program of quite another pattern is one finding, not a thousand."""
    pitch = dict(NETWORKS)[other]
    text, _, _ = written(strokes(*network_of("sayagata", 6.0)), arcs=True)

    assert [one.code for one in judge(text, other, pitch, job_of(arcs=True, recut="allow"))] == ["other-job"]
