"""Every pattern of the catalogue from its file to a program: three pitches, two outlines.

The interpreter of Debian's ``linuxcnc-uspace`` judges the text, Euler's formula the network, and the plan is held to its bound.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from drawn_lines import lines_of
from small_job import job_from, make_program
from vcarve.errors import Finding
from vcarve.job.bench import names
from vcarve.job.records import Job
from vcarve.network.model import Network
from vcarve.plan.planner import FLOATS
from vcarve.plane.region import area_mm2
from vcarve.proofing import check_program

PITCHES = (12.0, 8.0, 6.0)
OUTLINES = {"rectangle": "width: 60, height: 45", "circle": "width: 48, height: 48"}
ONE_PART, MANY_PARTS = 0.005, 0.03  # how far above the bound a plan may be


def job_of(name: str, pitch_mm: float, outline: str) -> Job:
    """Return a shallow engraving of a pattern."""
    text = f"""
piece: {{{OUTLINES[outline]}, thickness: 8, wood: maple-sugar, outline: {{shape: {outline}}}}}
pattern: {{name: {name}, pitch: {pitch_mm}}}
groove: {{depth: 0.3}}
bit: v60-3.175
machine: small-desktop
"""
    return job_from(text)


def parts(network: Network, *, cut_only: bool) -> tuple[int, int, int]:
    """Return connected parts, vertices and edges, counted by a library for graphs."""
    chosen = network.cut if cut_only else np.ones(len(network.tail), dtype=bool)
    used, at = np.unique(np.concatenate([network.tail[chosen], network.head[chosen]]), return_inverse=True)
    count = int(chosen.sum())
    links = coo_array((np.ones(count), (at[:count], at[count:])), shape=(len(used), len(used)))
    return int(connected_components(links, directed=False)[0]), len(used), count


def serious(findings: tuple[Finding, ...]) -> list[Finding]:
    """Return the findings that speak of the program, not of narrow land or a pitch too large for a small piece."""
    return [
        one
        for one in findings
        if one.code not in {"land-vanished", "weak-island", "land-broken", "edge-sliver", "pitch-unusual"}
    ]


@pytest.mark.parametrize("outline", sorted(OUTLINES))
@pytest.mark.parametrize("name", names("pattern"))
def test_a_pattern_becomes_a_program(name: str, outline: str, rs274: Any) -> None:
    """At three pitches the network is plane, the plan near its bound, the text accepted without a word, the dry run clean."""
    for pitch in PITCHES:
        job = job_of(name, pitch, outline)
        made = make_program(job)
        network, proof = made.network, made.plan.proof

        # Euler: V - E + F = 1 + parts, the face outside being no cell.
        count, vertices, edges = parts(network, cut_only=False)
        assert network.cells == edges - vertices + count
        assert made.layout.grooves.land_area_mm2.sum() < area_mm2(made.layout.field.outline)

        above = proof.plan_s / proof.bound_s - 1.0
        whole = parts(network, cut_only=True)[0] == 1
        assert -FLOATS <= above <= (ONE_PART if whole else MANY_PARTS), f"{above:.2%} above at {pitch} mm"

        run = rs274(made.text)
        assert run.accepted
        assert run.message == ""
        proofed = check_program(made.text, file="program.nc", machine=job.machine, job=job)
        assert serious(proofed.findings) == []
        assert serious(made.told) == []


@pytest.mark.parametrize("name", names("pattern"))
def test_whole_repeats_have_the_unit_cells_length(name: str) -> None:
    """On a large piece the length per area tends to that of the unit cell: lines lost or doubled would show."""
    from small_network import build
    from vcarve.pattern.model import pattern
    from vcarve.plane.region import rectangle

    drawn = pattern(name)
    pitch = 40.0 / np.sqrt(drawn.cell.area) / 10.0
    network = build(drawn, region=rectangle(120.0, 120.0), pitch_mm=pitch, rotate_deg=13.0, edge="plain")
    expected = sum(line.length for line in lines_of(drawn)) / drawn.cell.area / pitch * 120.0**2

    assert network.cut_mm == pytest.approx(expected, rel=0.01)
