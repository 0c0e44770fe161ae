"""Laws of a top that is not flat: what its program does at every place, and what both sides believe of it."""

from __future__ import annotations

from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from small_job import small_job
from small_network import build, cuts_of
from vcarve.dryrun.top import top_of as seen_top
from vcarve.errors import InputError
from vcarve.job.surface import Surface, surface_from
from vcarve.mount.warped import FOLLOW_MM
from vcarve.mount.warped import top_of as written_top
from vcarve.pattern.model import pattern
from vcarve.plan.planner import plan
from vcarve.plane.region import rectangle
from vcarve.program.moves import Motion, Moves
from vcarve.program.reader import read_program
from vcarve.program.writer import write
from warped import Board, grid, on, touched

LAWS = settings(deadline=None, derandomize=True, max_examples=6)
SLOPES = st.floats(-0.02, 0.02, allow_nan=False)
SEEDS = st.integers(0, 2**32 - 1)
NAMES = st.sampled_from(["shippo", "asanoha"])
SIZE_MM, DEPTH_MM = 60.0, 2.0


def surface_of(board: Board, *, whole: bool, seed: int = 0) -> Surface:
    """Return what is told of a board by a grid of touches, or by touches here and there."""
    if whole:
        return grid(board, 12.0, size_mm=SIZE_MM)
    return touched(board, *np.random.default_rng(seed).uniform(0.0, SIZE_MM, (2, 25)))


def texts(name: str, *surfaces: Surface | None, step_mm: float = 9.0) -> list[str]:
    """Return the text of one plan on each of several tops."""
    job = small_job(SIZE_MM, step_mm=step_mm)
    network = build(pattern(name), region=rectangle(SIZE_MM, SIZE_MM), pitch_mm=30.0)
    cuts = cuts_of(network, DEPTH_MM)
    made = plan(cuts, job)
    return [write(on(job, surface), cuts, made, []) for surface in surfaces]


def feeds(text: str) -> Moves:
    """Return the moves of a text."""
    return read_program(text).moves


@LAWS
@given(name=NAMES, whole=st.booleans(), seed=SEEDS)
def test_a_flat_top_changes_no_byte(name: str, whole: bool, seed: int) -> None:
    """Law: of touches that are all at one height, at the zero's, the program is the same to the byte as without them."""
    plain, told = texts(name, None, surface_of(lambda x, y: 0.0, whole=whole, seed=seed))

    assert told == plain


@LAWS
@given(name=NAMES, a=SLOPES, b=SLOPES, whole=st.booleans(), seed=SEEDS)
def test_a_tilted_top_tilts_every_depth(name: str, a: float, b: float, whole: bool, seed: int) -> None:
    """Law: on a plane every cut ends as deep below it as on a flat top, and lines are the same in X and Y."""
    plain, told = texts(name, None, surface_of(lambda x, y: a * x + b * y, whole=whole, seed=seed))
    flat, tilted = feeds(plain), feeds(told)
    cut, level = (moves.motion != int(Motion.RAPID) for moves in (tilted, flat))
    rise = a * tilted.end("X") + b * tilted.end("Y")

    assert set(np.round(flat.end("Z")[level], 6).tolist()) == {-DEPTH_MM}
    assert np.abs(rise - DEPTH_MM - tilted.end("Z"))[cut].max() <= 1.001e-3
    if not flat.sweep_rad.any():  # an arc on a slope does not rise evenly
        assert np.array_equal(tilted.end("XY"), flat.end("XY"))


@LAWS
@given(name=NAMES, whole=st.booleans(), seed=SEEDS)
def test_a_bent_top_is_followed_all_along(name: str, whole: bool, seed: int) -> None:
    """Law: nowhere along a cut is the bit farther from its depth than is stated, and every rapid across stays above the top."""
    bend = np.random.default_rng(seed).uniform(-0.15, 0.15, 4)

    def board(x: Any, y: Any) -> Any:
        u, v = x / SIZE_MM, y / SIZE_MM
        return bend[0] * np.sin(3 * u) + bend[1] * np.cos(4 * v) + bend[2] * u * v + bend[3] * u * u

    surface = surface_of(board, whole=whole, seed=seed)
    (text,) = texts(name, surface)
    moves, top = feeds(text), seen_top(surface)
    start, end = moves.start_mm, moves.end_mm
    straight = (moves.sweep_rad == 0.0) & ((start - end)[:, :2] != 0.0).any(axis=1)
    share = np.linspace(0.0, 1.0, 41)[:, None, None]
    way = (1.0 - share) * start + share * end
    below = top.rise_mm(way[..., :2]) - way[..., 2]
    cut = straight & (moves.motion == int(Motion.FEED))

    assert cut.any() or name == "shippo"
    # Both ends are rounded on all axes.
    assert np.abs(below[:, cut] - DEPTH_MM).max(initial=0.0) <= FOLLOW_MM + 2e-3
    assert below[:, straight & (moves.motion == int(Motion.RAPID))].max() < -0.5


@LAWS
@given(whole=st.booleans(), seed=SEEDS)
def test_writer_and_dry_run_believe_in_the_same_top(whole: bool, seed: int) -> None:
    """Law: the two codings agree to a millionth of a millimetre, on the probed places, between them and beyond."""
    rng = np.random.default_rng(seed)
    x, y = np.meshgrid(np.cumsum(rng.uniform(3, 20, 5)), np.cumsum(rng.uniform(3, 20, 4)))
    places = np.column_stack([x.ravel(), y.ravel()]) if whole else rng.uniform(0, 80, (20, 2))
    heights = rng.uniform(-0.3, 0.3, len(places))
    surface = Surface(points_mm=tuple(zip(*places.T.tolist(), heights.tolist(), strict=True)))
    asked = np.vstack([places, rng.uniform(-20, 100, (200, 2))])
    written, seen = written_top(surface)(asked), seen_top(surface).rise_mm(asked)

    assert (surface.grid is not None) == whole
    assert np.abs(written - seen).max() < 1e-6
    assert np.abs(seen[: len(places)] - heights).max() < 1e-6


PIECES = st.sampled_from(
    [
        "[PRB:1.0,2.0,-0.1:1]",
        "[PRB:9,2.5,0:1]\r\n",
        "[PRB:4,8,.1:0]",
        "[PRB:",
        ":1]",
        "[TLO:0]\n",
        "$13=1\n",
        "ALARM:5",
        "ok\n",
        "1 2 3\n",
        "7, 8, 0.2\n",
        "4;9;-0.1\n",
        "inch\n",
        "# 5\n",
        "1 2 0 0 0 0 0 0 0\n",
        "nan 0 0\n",
        "1e9 0 0",
        "\x00",
        "x, y\n",
        "9" * 400,
    ]
)


@settings(LAWS, max_examples=300)
@given(st.lists(PIECES | st.text(max_size=4), max_size=14).map("".join))
def test_any_text_is_read_or_refused(text: str) -> None:
    """Law: whatever a file holds, it is a surface through finite points, or refused with what is wrong and where."""
    try:
        surface = surface_from(text, "heights.txt")
    except InputError as error:
        wrong = [one for one in error.problems if one.file != "heights.txt" or not one.want]
    else:
        wrong = []
        asked = np.array([[0.0, 0.0], [1e3, -50.0]])
        assert np.isfinite(surface.places_mm).all()
        assert np.isfinite(seen_top(surface).rise_mm(asked)).all()

    assert wrong == []
