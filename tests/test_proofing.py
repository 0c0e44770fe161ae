"""What the carved surface adds to the findings, and what is said where nothing could be measured."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from small_job import make_program, on_machine
from vcarve.dryrun.carve import Surface
from vcarve.dryrun.measure import ACROSS_STEPS, Measured, Places, carved, measured, width_findings
from vcarve.errors import InputError
from vcarve.job.records import Job, load_job
from vcarve.layout.stages import Layout
from vcarve.plane.arrays import Floats, Ints
from vcarve.proofing import carve_piece, check_program, target_of
from vcarve.report import dry_run_json, widths_sentence
from vcarve.run import DryRun

ROOT = Path(__file__).parent.parent
PROGRAMS = Path(__file__).parent / "dryrun" / "programs"
TEXT = (PROGRAMS / "cross.nc").read_text(encoding="ascii")


def run_of(*sets: str, text: str = TEXT) -> DryRun:
    """Return the dry run of the cross for its job, some values of which are changed."""
    job = load_job(str(PROGRAMS / "cross.yaml"), sets)
    return check_program(text, file="cross.nc", machine=job.machine, job=job)


def job_of(run: DryRun) -> Job:
    """Return the job of a dry run that has one."""
    assert run.job is not None
    return run.job


def layout_of(run: DryRun) -> Layout:
    """Return the layout of a dry run that has one."""
    assert run.layout is not None
    return run.layout


def with_bit(run: DryRun, angle_deg: float) -> Job:
    """Return the job with a bit of another angle."""
    job = job_of(run)
    return job.model_copy(update={"bit": job.bit.model_copy(update={"angle_deg": angle_deg})})


def for_job(run: DryRun, job: Job) -> DryRun:
    """Return the dry run as if its lines were another job's."""
    return replace(run, layout=replace(layout_of(run), job=job))


def surface_of(run: DryRun, step_mm: float | None = None) -> Surface:
    """Return the surface it leaves."""
    return carved(target_of(layout_of(run)), run.reading.moves, step_mm)


def measure(run: DryRun, surface: Surface, *, land: bool = False, finer: bool = False) -> Measured:
    """Return what is measured on a surface for the job of a dry run."""
    target, moves = target_of(layout_of(run)), run.reading.moves
    return measured(target, moves, surface, with_land=land, finer=finer)


def with_surface(run: DryRun, surface: Surface, facts: Measured) -> DryRun:
    """Return the dry run with what a surface and what was measured on it add."""
    known = {one.code for one in run.findings}
    found = width_findings(target_of(layout_of(run)), surface, facts, known)
    return replace(run, findings=(*run.findings, *found), surface=surface, measured=facts)


def codes(run: DryRun) -> list[str]:
    """Return the codes found, in order."""
    return [one.code for one in run.findings]


def test_grooves_as_wide_as_computed() -> None:
    """The carved grooves of a right program add nothing."""
    run = run_of()
    surface = surface_of(run)
    facts = measure(run, surface)

    assert codes(with_surface(run, surface, facts)) == []


@pytest.mark.parametrize("angle", [80.0, 100.0])
def test_grooves_of_another_bit_are_not(angle: float) -> None:
    """Carved with a bit of another angle every measured groove is refused: 2 mm wide they should be."""
    run = run_of()
    surface = surface_of(for_job(run, with_bit(run, angle)), 0.05)
    facts = measure(run, surface)
    found = with_surface(run, surface, facts)

    assert codes(found) == ["width-off"] * facts.measured
    assert facts.measured >= 3
    assert all("bit and depth make it 2 mm" in one.sentence for one in found.findings)


def test_widths_are_not_judged_on_too_coarse_a_grid() -> None:
    """A groove only a few steps wide says nothing about the bit."""
    run = run_of()
    surface = surface_of(for_job(run, with_bit(run, 80.0)), 2.0 / ACROSS_STEPS * 1.1)
    facts = measure(run, surface)

    assert codes(with_surface(run, surface, facts)) == []


def test_narrow_grooves_get_a_finer_grid() -> None:
    """Without a step given, the narrowest groove is at least ten steps wide where memory allows it."""
    fine = run_of("groove.depth=0.1 mm", text=TEXT.replace("Z-1", "Z-0.1"))

    assert fine.findings == ()
    assert surface_of(fine).step_mm == pytest.approx(0.2 / ACROSS_STEPS)
    assert surface_of(run_of()).step_mm == 0.05


def test_a_shank_in_the_wood() -> None:
    """A 6 mm shank above a cone 0.75 mm high goes a quarter millimetre into the wood, at the plunge of each pass or before."""
    run = run_of("bit.diameter=1.5 mm")
    surface = surface_of(run)
    facts = measure(run, surface)
    found = with_surface(run, surface, facts)
    mine = [one for one in found.findings if one.code == "shank-contact"]

    assert [one.line for one in mine] == [7]
    assert "0.25 mm" in mine[0].sentence
    assert (7, "bit-too-short") in [(one.line, one.code) for one in found.findings]


def test_what_explains_a_width_is_not_said_twice() -> None:
    """A line cut too shallow is too narrow as well; that is one finding, not two."""
    run = run_of(text=TEXT.replace("G1 Z-1 F200\nG1 X20", "G1 Z-0.5 F200\nG1 X20"))
    surface = surface_of(run)
    facts = measure(run, surface)

    assert abs(facts.worst_mm) > 0.9
    assert set(codes(with_surface(run, surface, facts))) == {"wrong-depth"}


def test_nothing_measured_is_said_in_words() -> None:
    """Where no width could be measured there is no number: words on the terminal, null in the object."""
    run = run_of()
    surface = surface_of(run)
    facts = replace(
        measure(run, surface),
        widths_mm=np.full(len(layout_of(run).network.tail), np.nan),
        measured=0,
        crowded=3,
        too_fine=2,
        finer_mm=None,
        worst_edge=-1,
        worst_mm=float("nan"),
    )
    told = with_surface(run, surface, facts)
    values = dry_run_json(told)["measured"]

    assert widths_sentence(told) == (
        "no groove could be measured: 3 nowhere clear of other grooves, joints and the piece's edge, "
        "2 too narrow for the grid"
    )
    assert values["worst_width"] is None
    assert values["narrowest_land_mm"] is None
    assert codes(with_surface(run, surface, facts)) == []


@pytest.mark.parametrize(
    ("worst", "said"),
    [
        (0.0002, "as computed to within 0.001 mm"),
        (0.02, "at most 0.02 mm more"),
        (-0.02, "at most 0.02 mm less"),
    ],
)
def test_the_worst_width_in_words(worst: float, said: str) -> None:
    """A difference below the last figure shown is never called none."""
    run = run_of()
    told = replace(run, measured=replace(measure(run, surface_of(run)), worst_mm=worst))

    assert said in widths_sentence(told)
    assert "0 mm off" not in widths_sentence(told)


def test_what_is_not_measured_is_counted_with_its_reason() -> None:
    """Too coarse a grid leaves every edge out; on a fine one only edges shorter than they are wide are, and all add up."""
    run = run_of()
    edges = layout_of(run).network.edges
    for step_mm, reason in ((0.25, "too narrow for the grid"), (0.05, "nowhere clear of other grooves")):
        surface = surface_of(run, step_mm)
        facts = measure(run, surface)
        told = with_surface(run, surface, facts)
        values = dry_run_json(told)["measured"]

        assert facts.measured + facts.crowded + facts.too_fine == edges
        assert facts.too_fine == (edges if step_mm > 0.2 else 0)
        assert (values["edges_crowded"], values["edges_too_fine_for_step"]) == (facts.crowded, facts.too_fine)
        assert (reason in widths_sentence(told)) == (facts.measured < edges)


def test_a_grid_that_is_too_coarse_names_one_that_would_do() -> None:
    """The step that is named measures every groove, and where none is too narrow none is named."""
    run = run_of("groove.depth=0.33 mm", text=TEXT.replace("Z-1", "Z-0.33"))
    surface = surface_of(run, 0.1)
    told = widths_sentence(with_surface(run, surface, measure(run, surface)))
    found = re.search(r"too narrow for the grid \(--step ([0-9.]+) mm would do\)", told)
    assert found is not None
    fine = surface_of(run, float(found[1]))
    facts = measure(run, fine)

    assert facts.measured == layout_of(run).network.edges
    assert "--step" not in widths_sentence(with_surface(run, fine, facts))


def test_what_is_too_narrow_for_the_grid_is_measured_on_tiles_of_a_finer_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Tiles smaller than the lines give the widths that one fine surface gives, and find a bit of another angle."""
    monkeypatch.setattr("vcarve.dryrun.measure.TILE_MM", 7.0)
    run = run_of()
    whole = measure(run, surface_of(run))
    coarse = surface_of(run, 0.25)
    tiled = measure(run, coarse, finer=True)

    assert (whole.measured, tiled.measured, tiled.too_fine) == (5, 5, 0)
    assert tiled.widths_mm == pytest.approx(whole.widths_mm, abs=0.01, nan_ok=True)
    assert codes(with_surface(run, coarse, tiled)) == []

    blunt = for_job(run, with_bit(run, 100.0))
    tiled = measure(blunt, coarse, finer=True)
    assert codes(with_surface(run, coarse, tiled)) == ["width-off"] * 5


def test_a_tile_is_asked_for_the_lines_that_cross_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """However many tiles there are, the lines are gathered once, and none is looked for where it does not go."""
    asked: list[int] = []
    gathered: list[Places] = []

    def widths(tile: Surface, places: Places, *, edges: Ints, least_half_mm: float) -> tuple[Floats, Floats]:
        gathered.append(places)
        xy = places.network.xy_mm[np.stack([places.network.tail[edges], places.network.head[edges]])]
        reach = np.array([tile.x_mm[[0, -1]], tile.y_mm[[0, -1]]])
        bow = 10.0 * (places.network.bulge[edges] != 0.0)[:, None]  # the half circle is 10 mm wide
        assert ((xy.min(axis=0) - bow <= reach[:, 1]) & (xy.max(axis=0) + bow >= reach[:, 0])).all()
        asked.append(len(edges))
        nothing = np.full(len(places.network.tail), np.nan)
        return nothing, nothing.copy()

    monkeypatch.setattr("vcarve.dryrun.measure.TILE_MM", 7.0)
    monkeypatch.setattr("vcarve.dryrun.measure.groove_widths", widths)
    run = run_of()
    measure(run, surface_of(run, 0.25), finer=True)

    assert len(asked) > 40
    assert sum(asked) > 5
    assert all(one is gathered[0] for one in gathered)


def test_land_is_measured_inside_the_outline() -> None:
    """On a round piece the corners of the map are no land: what is left is the disc less the groove."""
    run = run_of("piece.width=50 mm", "piece.height=50 mm", "piece.outline={shape: circle}")
    surface = surface_of(run)
    facts = measure(run, surface, land=True)
    grooves = layout_of(run).grooves.depth_mm.max() * 2.0 * layout_of(run).network.cut_mm

    disc = np.pi * 25.0**2
    assert disc - 1.3 * grooves < facts.land.area_mm2 < disc - 0.7 * grooves


def test_deepest_is_how_deep_the_tip_goes() -> None:
    """A tip that comes to its point between the grid's pixels is as deep as its Z word says, to the last digit."""
    run = run_of(
        text=TEXT.replace("G0 Z1\n", "G0 Z1\nG0 X-10.013 Y5.017\nG1 Z-1.9 F200\nG0 Z1\nG0 X-20 Y0\n", 1)
    )
    surface = surface_of(run)

    assert surface.deepest_mm < 1.89
    assert measure(run, surface).deepest_mm == 1.9


def test_chords_within_their_tolerance_are_no_fault_of_a_width() -> None:
    """Grooves of arcs cut as coarse chords differ from the formula by what the machine's tolerance lets them, and no more."""
    sets = (
        "pattern.name=seigaiha",
        "pattern.pitch=5",
        "groove.depth=0.3",
        "piece.width=30",
        "piece.height=30",
    )
    job = load_job(str(ROOT / "samples" / "coaster.yaml"), (*sets, "groove.lost-land=allow"))
    coarse = {"arcs": False, "arc_tolerance_mm": 0.05}
    job = on_machine(job, **coarse)
    run = check_program(make_program(job).text, file="the program", machine=job.machine, job=job)
    surface = surface_of(run)
    facts = measure(run, surface)
    exact = on_machine(job, arcs=True)

    assert "width-off" not in codes(with_surface(run, surface, facts))
    assert "width-off" in codes(with_surface(for_job(run, exact), surface, facts))


@pytest.mark.parametrize("step_mm", [0.0, -1.0, np.inf, np.nan, 1e-9, 2.5])
def test_a_grid_that_says_nothing_is_refused(step_mm: float) -> None:
    """A script gives the step as a number; what no surface can have is told as the command tells it, and nothing is carved."""
    with pytest.raises(InputError, match=r"between 0\.005 mm and 2 mm") as caught:
        carve_piece(run_of(), step_mm=step_mm)
    assert caught.value.problems[0].key == "step_mm"
