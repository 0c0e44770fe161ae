"""A piece cut out of its board, end to end: both programs read back, judged, carved, and what is left held against it."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from click.testing import CliRunner, Result
from scipy import ndimage

from small_job import job_from
from vcarve.cli.main import cli
from vcarve.dryrun.carve import Surface, carve
from vcarve.dryrun.track import setup_of
from vcarve.errors import InputError
from vcarve.job.sections import CutOut
from vcarve.layout.findings import job_findings
from vcarve.layout.stages import lay_out
from vcarve.pipeline import cut_out_program, plan_program
from vcarve.plane.region import polygon
from vcarve.program.moves import Motion
from vcarve.proofing import carve_piece, check_program
from vcarve.run import Made, MadeCutOut

TILE = """\
piece: {width: 60 mm, height: 60 mm, thickness: 6 mm, wood: cherry-black}
pattern: {name: asanoha, pitch: 20 mm, margin: 5 mm}
groove: {depth: 0.8 mm}
bit: v60-3.175
machine: small-desktop
cut-out: {bit: em-3.175, tabs: 3, tab: 4 x 1 mm}
"""
PAGE = '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="60mm" viewBox="0 0 60 60">'
DRAWINGS = {
    "holes": '<path d="M0 0H60V60H0Z"/><circle cx="15" cy="15" r="7"/><circle cx="40" cy="40" r="1.8"/>'
    '<rect x="30" y="6" width="22" height="14"/>',
    "ell": '<path d="M0 0H60V25H25V60H0Z"/>',
    "twice": '<path d="M0 0H60V60H0Z"/><circle cx="20" cy="20" r="3.165"/>',
    "narrow": '<path d="M0 0H60V60H0Z"/><circle cx="20" cy="20" r="1.5"/>',
    "slot": '<path d="M0 0H29V30H31V0H60V60H0Z"/>',
    "neck": '<path d="M0 0H29V10A10 10 0 1 0 31 10V0H60V60H0Z"/>',
}
PLAIN = "pattern={name: asanoha, pitch: 20, edge: plain}"
KINDS: dict[str, tuple[str, ...]] = {
    "square": (),
    "circle": ("piece.outline={shape: circle}",),
    "rounded, conventional": ("piece.outline={shape: rounded, radius: 9}", "cut-out.direction=conventional"),
    "holes": (PLAIN, "piece.outline={shape: drawing, file: holes.svg}"),
    "ell, led in": (PLAIN, "piece.outline={shape: drawing, file: ell.svg}", "cut-out.lead-in=true"),
    "no room to lead in": (PLAIN, "piece.outline={shape: drawing, file: twice.svg}", "cut-out.lead-in=true"),
    "turned, on the bed": ("zero={z: bed, turn: 7.3, xy: back-right}", "cut-out.lead-in=true"),
    "no tabs": ("cut-out.tabs=0",),
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Return a folder with the drawings of outlines."""
    place: Path = tmp_path_factory.mktemp("outlines")
    for name, lines in DRAWINGS.items():
        (place / f"{name}.svg").write_text(f"{PAGE}{lines}</svg>")
    return str(place)


@cache
def made_of(folder: str, *sets: str, inch: bool = False) -> Made:
    """Return both programs of a job, some values of which are changed."""
    machine: dict[str, Any] = {"units": "inch", "decimals": 4} if inch else {}
    return plan_program(job_from(TILE, *sets, folder=folder, **machine))


def out_of(made: Made) -> tuple[MadeCutOut, CutOut]:
    """Return the second program of a job, and how the job asks for it."""
    assert made.cut_out is not None
    assert made.job.cut_out is not None
    return made.cut_out, made.job.cut_out


def board(made: Made, step_mm: float = 0.1, beyond: int = 60) -> Surface:
    """Return what the second program leaves of the piece and of so many pixels of the board round it."""
    out, cut_out = out_of(made)
    wide, high = (
        side + 2.0 * beyond * step_mm for side in (made.job.piece.width_mm, made.job.piece.height_mm)
    )
    setup = setup_of(made.job)
    return carve(
        out.reading.moves,
        cut_out.bit,
        width_mm=wide,
        height_mm=high,
        setup=setup,
        step_mm=step_mm,
        dtype=np.float64,
    )


@pytest.mark.slow
@pytest.mark.parametrize("inch", [False, True], ids=["mm", "inch"])
@pytest.mark.parametrize("kind", KINDS)
def test_an_interpreter_runs_it_and_the_dry_run_finds_nothing(
    kind: str, inch: bool, folder: str, rs274: Callable[[str], Any]
) -> None:
    """The interpreter takes the second program without a word, and no check forbids either."""
    made = made_of(folder, *KINDS[kind], inch=inch)
    out, _ = out_of(made)
    ran = rs274(out.text)

    assert (ran.accepted, ran.message) == (True, "")
    assert [one for one in made.findings if one.severity == "refuse"] == []
    assert out.findings == ()


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_what_is_left_is_the_outline(kind: str, folder: str) -> None:
    """All within the outline stays as it was, and a band round it as wide as the end mill is gone, but for tabs of their size."""
    made = made_of(folder, *KINDS[kind])
    _, cut_out = out_of(made)
    surface, thick, wide = board(made), made.job.piece.thickness_mm, cut_out.bit.diameter_mm
    step, piece = surface.step_mm, polygon(made.layout.field.outline)
    reached = shapely.buffer(shapely.buffer(piece, wide / 2, quad_segs=64), -wide / 2, quad_segs=64)
    x, y = np.meshgrid(surface.x_mm, surface.y_mm)
    spots = shapely.points(x, y)
    shapely.prepare(piece)
    inside, away = shapely.contains(piece, spots), shapely.distance(spots, shapely.boundary(piece))
    corner = (
        shapely.contains(shapely.buffer(reached, step), spots) & ~inside
    )  # where a round bit does not come

    assert not surface.height_mm[inside & (away > step)].any()

    band = ~inside & (away > step) & (away < wide - step) & ~corner
    standing = band & (surface.height_mm > -thick)
    labels, count = ndimage.label(standing, structure=np.ones((3, 3)))
    outer = shapely.contains(shapely.Polygon(piece.exterior), spots)
    tabs = [labels == k for k in range(1, count + 1) if np.count_nonzero(labels == k) > 9]
    mine = [tab for tab in tabs if not (tab & outer).any()]

    assert len(mine) == cut_out.tabs
    for tab in tabs:
        assert surface.height_mm[tab].max() == pytest.approx(cut_out.tab.height_mm - thick, abs=1e-3)
        level = tab & (surface.height_mm > cut_out.tab.height_mm - thick - 1e-3)
        # Narrowest on the way of the bit's middle.
        on_way = level & (np.abs(away - wide / 2.0) < step)
        reach = np.hypot(np.ptp(x[on_way]), np.ptp(y[on_way]))
        assert reach == pytest.approx(cut_out.tab.width_mm, abs=3.5 * step)


@pytest.mark.parametrize("kind", ["circle", "holes"])
def test_engraved_widths_stay_as_they_are(kind: str, folder: str) -> None:
    """Carved by both programs in turn, the grooves measure what they do without the second."""
    made = made_of(folder, *KINDS[kind])
    out, _ = out_of(made)
    both = check_program(made.text, made.layout, cut_out=("cut.nc", out.text))
    alone = check_program(made.text, made.layout)
    cut, engraved = (carve_piece(run, step_mm=0.05) for run in (both, alone))

    assert cut.measured is not None
    assert engraved.measured is not None
    assert cut.measured.measured > 10
    np.testing.assert_array_equal(cut.measured.widths_mm, engraved.measured.widths_mm)
    assert cut.surface is not None
    assert cut.surface.height_mm.min() < -6.0
    assert not cut.refused


def test_the_way_keeps_half_the_bit_away(folder: str) -> None:
    """Round a circle every place of the way in the wood is its radius and half the bit from the middle, and runs clockwise."""
    out, cut_out = out_of(made_of(folder, "piece.outline={shape: circle}"))
    moves = out.reading.moves
    wood = (moves.motion != Motion.RAPID) & (moves.end("Z") < 0.0)
    radius = 30.0 + cut_out.bit.diameter_mm / 2.0

    np.testing.assert_allclose(np.hypot(*moves.end_mm[wood, :2].T), radius, atol=1.5e-3)
    assert set(moves.motion[wood & (moves.sweep_rad != 0.0)]) == {Motion.ARC_CW}


@pytest.mark.parametrize("kind", KINDS)
def test_the_end_mill_never_goes_straight_down(kind: str, folder: str) -> None:
    """No feed below the top goes down more steeply than the ramp, and no turn takes more than the step."""
    made = made_of(folder, *KINDS[kind])
    out, cut_out = out_of(made)
    moves = out.reading.moves
    top = setup_of(made.job).top_mm
    wood = (moves.motion != Motion.RAPID) & (moves.end("Z") < top - 1e-6)
    fall, across = (moves.start("Z") - moves.end("Z"))[wood], moves.length_mm[wood]
    run = np.sqrt(np.maximum(across**2 - fall**2, 0.0))

    assert (fall <= run * math.tan(math.radians(cut_out.ramp_deg)) + 2e-3).all()
    assert moves.end("Z").min() == pytest.approx(top - 6.3, abs=1e-3)


def test_holes_come_before_the_outside(folder: str) -> None:
    """Each ring is a pass; the last one is round the outside."""
    out, _ = out_of(made_of(folder, *KINDS["holes"]))
    first = out.cuts.tail[out.plan.pass_start[:-1]]
    at = np.abs(out.cuts.place_nm[first, :2] / 1e6).max(axis=1)

    assert out.plan.passes == 4
    assert (at[:-1] < 30.0).all()
    assert at[-1] > 30.0


def test_tabs_stand_evenly_and_away_from_corners(folder: str) -> None:
    """Four tabs of a square stand in the middle of its sides."""
    made = made_of(folder, "cut-out.tabs=4")
    surface = board(made)
    x, y = np.meshgrid(surface.x_mm, surface.y_mm)
    way = np.abs(np.maximum(np.abs(x), np.abs(y)) - 30.0 - 3.175 / 2.0) < 0.1
    labels, count = ndimage.label(way & (surface.height_mm > -5.01))
    middles = ndimage.center_of_mass(way, labels, range(1, count + 1))

    assert count == 4
    for j, i in middles:
        assert min(abs(surface.x_mm[round(i)]), abs(surface.y_mm[round(j)])) < 2.0


def test_a_neighbour_is_kept_clear_of(folder: str) -> None:
    """Another piece on the board a bit's width away is left alone; one that is nearer forbids the program."""
    layout = made_of(folder).layout
    clear, close = (
        cut_out_program(layout, (shapely.box(30.0 + gap, -20.0, 60.0, 20.0),)) for gap in (3.2, 3.1)
    )

    assert clear is not None
    assert close is not None
    assert clear.findings == ()
    assert {one.code for one in close.findings} == {"neighbour-cut"}
    assert str(close.findings[0]).endswith(
        "The end mill cuts into another piece on the board. [neighbour-cut]"
    )


# --- what is wrong with a cut-out -----------------------------------------------------------------------------------

FOUND = {
    ("cut-out-narrow", (PLAIN, "piece.outline={shape: drawing, file: narrow.svg}")): (
        "The hole here is 3 mm wide at most; the end mill, 3.175 mm across, needs 3.275 mm: take a smaller one ('mizo bits' "
        "lists them)."
    ),
    ("cut-out-narrow", (PLAIN, "piece.outline={shape: drawing, file: slot.svg}")): (
        "The end mill, 3.175 mm across, does not get into the outline here: take a smaller one ('mizo bits' lists them), or draw "
        "it wider."
    ),
    ("cut-out-narrow", (PLAIN, "piece.outline={shape: drawing, file: neck.svg}")): (
        "The end mill, 3.175 mm across, does not get into the outline here: take a smaller one ('mizo bits' lists them), or draw "
        "it wider."
    ),
    ("cut-out-corner", (PLAIN, "piece.outline={shape: drawing, file: ell.svg}")): (
        "At 1 inner corner the end mill leaves wood, up to 0.66 mm of it: they keep its radius of 1.587 mm."
    ),
    ("cut-out-tabs", ("cut-out.tabs=2", "cut-out.tab=110 x 1 mm")): (
        "The way round the outline is 250 mm long, and 2 tabs of 110 mm, with the bit's way over them, take 255.8 mm; give "
        "fewer, narrower or lower ones, or a steeper ramp."
    ),
    ("cut-out-loose", ("cut-out.tabs=0",)): (
        "Nothing holds the piece at the end of the cut-out, for it has no tabs: hold it by tape or vacuum, or give it tabs."
    ),
    (
        "cut-out-loose",
        (PLAIN, "piece.outline={shape: drawing, file: holes.svg}", "cut-out.tab=28 x 1 mm", "cut-out.tabs=1"),
    ): ("What is cut out of this hole comes loose at the end, for no tab fits round it: stand clear of it."),
    ("bit-too-short", ("piece.thickness=12.5",)): (
        "Cutting out: The piece is 12.5 mm thick, and 0.3 mm more is cut, but this end mill's cutting edges end at 12.7 mm; take "
        "a longer one."
    ),
    ("collet", ("cut-out.bit=em-6",)): (
        "Cutting out: The bit's shank is 6 mm; small-desktop has collets for 3.175 mm. Of 'mizo bits' these fit: em-1.5, em-2, "
        "em-3.175."
    ),
    ("step-deep", ("cut-out.step=3",)): (
        "Cutting out: The end mill takes 3 mm at once; usual in Black cherry on small-desktop is 2 mm or less."
    ),
    ("feed-too-fast", ("cut-out.feed={cut: 9000}",)): (
        "Cutting out: The cutting feed is 9000 mm/min; small-desktop cuts at 1000 mm/min at most."
    ),
}


@pytest.mark.parametrize(("code", "sets"), FOUND)
def test_what_is_found_of_a_cut_out(code: str, sets: tuple[str, ...], folder: str) -> None:
    """A wrong cut-out is told in one sentence that says what would be right."""
    found = job_findings(lay_out(job_from(TILE, *sets, folder=folder)))

    assert FOUND[code, sets] in [one.sentence for one in found if one.code == code]


@pytest.mark.parametrize(
    ("sets", "said"),
    [
        (
            ("piece.width=299", "pattern.pitch=60"),
            "In the cut-out, line 34: The program needs 302.175 mm of travel on X; the machine has 300 mm.",
        ),
        (
            ("clamps=[{x: -12, y: 20, width: 15, height: 10, above: 3}]",),
            "In the cut-out, line 32: The bit runs into the clamp at X -12 mm, Y 20 mm.",
        ),
    ],
)
def test_what_the_dry_run_finds_of_it(sets: tuple[str, ...], said: str, folder: str) -> None:
    """What only the way shows is told of the program of the cut-out."""
    found = [one.sentence for one in made_of(folder, *sets).findings if one.severity == "refuse"]

    assert said in found


# --- the commands ---------------------------------------------------------------------------------------------------


def run(*words: str) -> Result:
    """Run the command line with words."""
    return CliRunner().invoke(cli, list(words))


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in a folder with the job."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tile.yaml").write_text(TILE)
    return tmp_path


def test_both_programs_are_written(job: Path) -> None:
    """Without a name of its own the second program stands beside the first, and the dry run of both is offered."""
    done = run("program", "tile.yaml", "-o", "tile.nc", "--picture", "tile.svg")
    both = run("dry-run", "tile.nc", "--job", "tile.yaml", "--cut-out", "tile-cut-out.nc", "--json")
    told = json.loads(both.stdout)

    assert done.exit_code == 0
    assert "wrote tile-cut-out.nc" in done.stdout
    assert "mizo dry-run tile.nc --job tile.yaml --cut-out tile-cut-out.nc --page" in done.stdout
    assert "cut-out   by a second program, with an end mill 3.175 mm across" in done.stdout
    assert 'class="kerf"' in (job / "tile.svg").read_text()
    assert both.exit_code == 0
    assert (told["clean"], told["cut_out"]["clean"]) == (True, True)
    assert told["cut_out"]["extents_mm"]["z"][0] == pytest.approx(-6.3)


def test_both_are_written_or_none(job: Path) -> None:
    """Where the second cannot be written, or is refused, the first is not written either; a named place is taken."""
    (job / "shut").mkdir()
    wrong = [
        run("program", "tile.yaml", "-o", "tile.nc", "--cut-out", "shut"),
        run("program", "tile.yaml", "-o", "tile.nc", "--cut-out", "tile.nc"),
        run("program", "tile.yaml", "-o", "tile.nc", "--set", "cut-out.tabs=50"),
    ]
    there = sorted(path.name for path in job.iterdir())
    named = run("program", "tile.yaml", "-o", "tile.nc", "--cut-out", "out.nc")

    assert [one.exit_code for one in wrong] == [2, 2, 1]
    assert there == ["shut", "tile.yaml"]
    assert named.exit_code == 0
    assert (job / "out.nc").read_text().startswith("(Mizo: cut-out of ")
    assert not (job / "tile-cut-out.nc").exists()


def test_more_than_could_be_told_is_refused_before_it_is_made(job: Path) -> None:
    """An outline of very many sides in very many turns is counted first."""
    ring = [30.0 + 30.0 * np.exp(2j * np.pi * k / 4000) for k in range(4000)]
    points = " ".join(f"{spot.real:.6f},{30.0 + spot.imag:.6f}" for spot in ring)
    (job / "many.svg").write_text(f'{PAGE}<polygon points="{points}"/></svg>')
    sets = ("piece.outline={shape: drawing, file: many.svg}", "cut-out.step=0.1")
    done = run("program", "tile.yaml", *(word for one in sets for word in ("--set", one)))

    assert done.exit_code == 2
    assert "sides of the outline in 63 turns are more than 100,000 cuts" in done.stderr


def test_a_coupon_is_not_cut_out(job: Path) -> None:
    """The strip of a job's coupon is no piece of it: its program is one, and the end mill forbids nothing of it."""
    done = run("coupon", "tile.yaml", "-o", "coupon.nc", "--set", "cut-out.bit=em-6.35")

    assert done.exit_code == 0
    assert "cut-out" not in (job / "coupon.nc").read_text()


def test_calls_that_cannot_be(job: Path) -> None:
    """Two programs do not go to standard output, none is made of a job without a cut-out, none goes in the air."""
    words = ["program", "tile.yaml"]

    assert "name its file" in run(*words, "-o", "-").stderr
    assert "the job has no 'cut-out'" in run(*words, "--cut-out", "c.nc", "--set", "cut-out=").stderr
    assert "only the engraving goes in the air" in run(*words, "--cut-out", "c.nc", "--air", "5 mm").stderr
    assert run(*words, "-o", "air.nc", "--air", "5 mm").exit_code == 0
    assert not (job / "air-cut-out.nc").exists()
    assert "needs --job" in run("dry-run", "air.nc", "--cut-out", "air.nc").stderr


def test_the_second_program_alone_is_told_as_what_it_is(job: Path) -> None:
    """Judged by the job's lines it is another's; the sentence says where it belongs."""
    run("program", "tile.yaml", "-o", "tile.nc")
    told = run("dry-run", "tile-cut-out.nc", "--job", "tile.yaml").stdout

    assert "It goes round the outline: give it as the job's cut-out" in told


def test_a_job_that_cuts_nothing_out_takes_no_second_program(folder: str) -> None:
    """A second program without a cut-out in the job is wrong input."""
    made = made_of(folder)
    out, _ = out_of(made)
    plain = job_from(TILE, "cut-out=", folder=folder)

    with pytest.raises(InputError, match="does not say how its piece is cut out"):
        check_program(made.text, plain, cut_out=("cut.nc", out.text))
