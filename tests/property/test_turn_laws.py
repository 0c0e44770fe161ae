"""Laws of the turned piece: its program, turned back, cuts what that of the straight piece does."""

from __future__ import annotations

from typing import get_args

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from small_job import small_job
from small_network import build, cuts_of
from vcarve.dryrun.track import setup_of
from vcarve.job.sections import Zero, ZeroPlace
from vcarve.mount.flat import mount_of
from vcarve.pattern.model import pattern
from vcarve.plan.planner import plan
from vcarve.plane.region import rectangle
from vcarve.program.reader import read_program
from vcarve.program.writer import write

LAWS = settings(deadline=None, derandomize=True, max_examples=40)
TURNS = st.floats(-45.0, 45.0, allow_nan=False).map(lambda turn: round(turn, 5))
PLACES = st.floats(-900.0, 900.0, allow_nan=False)
# Both axes are rounded by half a step, in both programs.
ROUNDING_STEPS = 2.0 * 0.5**0.5


@LAWS
@given(
    turn_deg=TURNS,
    xy=st.sampled_from(get_args(ZeroPlace)),
    z=st.sampled_from(["top", "bed"]),
    name=st.sampled_from(["shippo", "asanoha", "kikko"]),
    inch=st.booleans(),
)
def test_turned_back_it_cuts_the_same(turn_deg: float, xy: ZeroPlace, z: str, name: str, inch: bool) -> None:
    """Law: one plan, written straight and turned, is move by move the same to the last decimal once turned back."""
    straight = small_job(60.0, units="inch" if inch else "mm", decimals=4 if inch else 3)
    straight = straight.model_copy(update={"zero": Zero(xy=xy, z=z)})
    turned = straight.model_copy(update={"zero": Zero(xy=xy, z=z, turn_deg=turn_deg)})
    network = build(pattern(name), region=rectangle(60.0, 60.0), pitch_mm=30.0)
    cuts = cuts_of(network, 2.0)
    made = plan(cuts, straight)
    a, b = (read_program(write(job, cuts, made, [])).moves for job in (straight, turned))
    turn = np.exp(-1j * np.radians(turn_deg))
    step = 25.4e-4 if inch else 1e-3

    def places(axes: np.ndarray) -> np.ndarray:
        return np.asarray(axes[:, 0] + 1j * axes[:, 1])

    assert len(a) == len(b)
    assert np.abs(places(b.end_mm) * turn - places(a.end_mm)).max() <= ROUNDING_STEPS * step * 1.01
    assert np.array_equal(a.end_mm[:, 2], b.end_mm[:, 2])
    assert np.array_equal(a.motion, b.motion)
    assert np.allclose(a.sweep_rad, b.sweep_rad, atol=5.0 * step)


@LAWS
@given(
    turn_deg=TURNS,
    xy=st.sampled_from(get_args(ZeroPlace)),
    z=st.sampled_from(["top", "bed"]),
    x_mm=PLACES,
    y_mm=PLACES,
)
def test_the_two_notions_undo_each_other(
    turn_deg: float, xy: ZeroPlace, z: str, x_mm: float, y_mm: float
) -> None:
    """Law: what the mount makes of a place, the dry run's setup takes back to it within a nanometre."""
    job = small_job(100.0).model_copy(update={"zero": Zero(xy=xy, z=z, turn_deg=turn_deg)})
    place_nm = np.array([[round(x_mm * 1e6)], [round(y_mm * 1e6)], [2_000_000]])

    axes = np.array(mount_of(job).axes_nm(*place_nm))[:, 0] / 1e6
    back = setup_of(job).on_piece(axes)

    assert np.abs(back - place_nm[:, 0] / 1e6 * [1, 1, -1]).max() <= 1.1e-6
    assert np.allclose(setup_of(job).in_work(place_nm[:2, 0] / 1e6), axes[:2], atol=1.1e-6)
