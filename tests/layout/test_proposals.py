"""What a fit proposes where the edge cuts cells off: every way leaves what it says it leaves."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import shapely

from vcarve.job.records import load_job
from vcarve.layout.proposals import MOST_CELLS, proposals
from vcarve.layout.stages import Layout, lay_out
from vcarve.pipeline import plan_program
from vcarve.plane.arrays import NM_PER_MM

JOB = """
piece: {{width: {wide} mm, height: {high} mm, thickness: 10 mm, wood: cherry-black}}
pattern: {{name: {name}, {fit}, margin: 0 mm}}
groove: {{depth: 0.8 mm}}
bit: v60-3.175
machine: small-desktop
"""
KEYS = {"across": r"across (\d+)", "margin": r"margin ([\d.]+ \w+)", "shift-y": r"shift-y ([-\d.]+ \w+)"}


def proposed(job: Path, *sets: str) -> list[str]:
    """Return what is proposed for a job, way by way."""
    loaded = load_job(str(job), sets)
    said = proposals(lay_out(loaded))
    return said[0].removesuffix(".").partition("Fewer are cut off with: ")[2].split("; ") if said else []


def carried_out(job: Path, way: str, *sets: str) -> Layout:
    """Return the layout of the job changed as a way says."""
    changes = {f"pattern.{key}": re.search(found, way) for key, found in KEYS.items()}
    changes["piece.height"] = re.search(r"a piece ([\d.]+ \w+) high", way)
    more = [f"{key}={found[1]}" for key, found in changes.items() if found]
    text = job.read_text()
    if changes["pattern.across"]:
        text = re.sub(r"(pitch|across): [^,]*, ", "", text)
    (job.parent / "changed.yaml").write_text(text)
    return lay_out(load_job(str(job.parent / "changed.yaml"), [*sets, *more]))


def areas_mm2(layout: Layout) -> list[float]:
    """Return the area of every cell of straight lines, as polygons."""
    network, found = layout.network, []
    for cell in range(network.cells):
        ring = network.cell_ring_start[cell]
        half_edges = network.ring_half_edge[network.ring_start[ring] : network.ring_start[ring + 1]]
        corners = [int((network.head if h & 1 else network.tail)[h >> 1]) for h in half_edges.tolist()]
        found.append(
            shapely.Polygon([(network.x_nm[c], network.y_nm[c]) for c in corners]).area / NM_PER_MM**2
        )
    return found


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """Return where a test writes its job."""
    return tmp_path / "job.yaml"


@pytest.mark.parametrize(
    ("name", "wide", "high", "fit", "whole"),
    [
        # Areas in squares of the pitch: a third of a triangle, a hexagon, two and four triangles, all of side 1.
        ("asanoha", 90, 90, "pitch: about 18 mm", (3**0.5 / 12,)),
        ("asanoha", 200, 130, "across: 4", (3**0.5 / 12,)),
        ("kikko", 90, 131, "pitch: about 12 mm", (3 * 3**0.5 / 2,)),
        ("hishi", 150, 100, "pitch: about 14 mm", (3**0.5 / 2,)),
        ("higaki", 150, 101, "across: 6", (3**0.5,)),
    ],
)
@pytest.mark.parametrize("units", ["mm", "inch"])
def test_every_way_leaves_what_it_says(
    job: Path, name: str, wide: float, high: float, fit: str, whole: tuple[float, ...], units: str
) -> None:
    """Each way, carried out in the job, leaves the number of cells cut off that it gives, and fewer than before."""
    job.write_text(JOB.format(name=name, wide=wide, high=high, fit=fit))

    def cut_off(layout: Layout) -> int:
        full = [area * (layout.lines.pitch_mm or 0.0) ** 2 for area in whole]
        return sum(all(abs(area - one) > 0.01 * one for one in full) for area in areas_mm2(layout))

    before = cut_off(lay_out(load_job(str(job))))
    ways = proposed(job, f"units={units}")

    assert ways
    for way in ways:
        layout = carried_out(job, way, f"units={units}")
        left = re.search(r"\((\d+) of (\d+)\)$", way)
        assert left is not None, way
        assert (cut_off(layout), layout.network.cells) == (int(left[1]), int(left[2])), way
        assert cut_off(layout) < before


def test_what_ends_them_gives_whole_repeats_only(job: Path) -> None:
    """A repeat of the square hemp leaf has 24 cells: what leaves none cut off has a multiple of them, and no half ones."""
    job.write_text(JOB.format(name="kaku-asanoha", wide=160, high=110, fit="across: 5"))
    ended = [way for way in proposed(job) if way.endswith("(none)")]
    repeats = {way.partition(" (")[0]: carried_out(job, way).network.cells / 24 for way in ended}

    # 160 / 5 = 32: 112 mm are 3.5 of them, and (160 - 10) / 6 = 25 goes four times into 110 - 10.
    assert repeats == {"a piece 112 mm high with across 5": 5 * 3.5, "margin 5 mm with across 6": 6 * 4}


@pytest.mark.parametrize(
    ("fit", "sets"),
    [
        ("across: 5", ()),
        ("pitch: 33 mm", ("piece.height=117",)),
        ("across: 5", ("piece.height=160", "piece.outline={shape: circle}", "pattern.name=asanoha")),
    ],
)
def test_nothing_is_proposed_where_nothing_is_fitted_or_cut_off(
    job: Path, fit: str, sets: tuple[str, ...]
) -> None:
    """A fit that fills the piece, a pitch that was not fitted, and a round piece, which cuts cells off anyhow."""
    job.write_text(JOB.format(name="kaku-asanoha", wide=160, high=96, fit=fit))

    assert proposed(job, *sets) == []


def test_a_pitch_that_clips_cells_away_may_be_fitted(job: Path) -> None:
    """Where cells at the edge lose their land, the nearest pitch that fits is tried: 3 by 2 repeats of 24 cells."""
    job.write_text(JOB.format(name="kaku-asanoha", wide=150, high=100, fit="pitch: 24 mm"))

    assert proposed(job) == ["pitch about 24 mm (none)"]
    assert lay_out(load_job(str(job), ["pattern.pitch=about 24 mm"])).network.cells == 3 * 2 * 24
    assert proposed(job, "pattern.pitch=26 mm") == []


def test_of_very_many_cells_no_proposal_is_tried(job: Path) -> None:
    """Trying out takes about as long as the layout each time: past a thousand cells nobody waits for it."""
    for across, tried in ((7, True), (12, False)):
        job.write_text(JOB.format(name="kaku-asanoha", wide=200, high=130, fit=f"across: {across}"))

        assert (lay_out(load_job(str(job))).network.cells <= MOST_CELLS) == tried
        assert bool(proposed(job)) == tried


def test_trying_out_is_told(job: Path) -> None:
    """While ways are tried out, a stage of its own moves on, between that of the layout and that of the plan."""
    job.write_text(JOB.format(name="kikko", wide=90, high=131, fit="pitch: about 12 mm"))
    told: list[tuple[str, float]] = []
    plan_program(load_job(str(job)), lambda stage, share: told.append((stage, share)))
    tried = [share for stage, share in told if stage == "trying other fits"]

    assert len(set(tried)) > 5
    assert [share for _, share in told] == sorted(share for _, share in told)
