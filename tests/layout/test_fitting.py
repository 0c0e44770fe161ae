"""Whole repeats on the piece as the network has them: last lines on the edges, what is left over halved, margins and turns."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from small_job import job_from
from vcarve.errors import InputError
from vcarve.layout.stages import Layout, lay_out
from vcarve.network.model import Network

# Patterns whose repeat is bounded by straight lines all round.
BOXED = ("ichimatsu", "kaku-asanoha", "masu-tsunagi", "izutsu-tsunagi", "sankuzushi")
LAYINGS = ("", "rotate: 90", "rotate: 180", "rotate: -90", "mirror: true", "rotate: 90, mirror: true")


def layout_of(pattern: str, width: float = 90.0, height: float = 60.0, shape: str = "rectangle") -> Layout:
    """Return the layout of a pattern on a piece of this size."""
    text = f"""
piece: {{width: {width}, height: {height}, thickness: 9, wood: maple-sugar, outline: {{shape: {shape}}}}}
pattern: {pattern}
groove: {{depth: 0.5}}
bit: v60-3.175
machine: small-desktop
"""
    return lay_out(job_from(text))


def on_line(network: Network, axis: int, place_mm: float) -> float:
    """Return how much is cut along the line on which one coordinate has this value."""
    xy = network.xy_mm
    there = np.abs(xy[:, axis] - place_mm) < 1e-6
    straight = network.bulge == 0.0
    return float(network.length_mm[network.cut & straight & there[network.tail] & there[network.head]].sum())


def places(network: Network) -> set[tuple[float, float]]:
    """Return the vertices of lines to cut, in hundredths of a millimetre (no two are nearer than that)."""
    used = np.unique(np.concatenate([network.tail[network.cut], network.head[network.cut]]))
    return {(round(x, 2) + 0.0, round(y, 2) + 0.0) for x, y in network.xy_mm[used].tolist()}


@pytest.mark.parametrize("name", BOXED)
@pytest.mark.parametrize("laying", LAYINGS)
@pytest.mark.parametrize("margin", [0.0, 6.0])
def test_last_lines_lie_on_the_edges(name: str, laying: str, margin: float) -> None:
    """Where whole repeats fill the field its four sides are lines of the pattern from corner to corner, however it is turned."""
    width, height = 90.0 + 2.0 * margin, 60.0 + 2.0 * margin
    layout = layout_of(f"{{name: {name}, across: 3, margin: {margin}, {laying}}}", width, height)

    for axis, far, across in ((0, 45.0, 60.0), (1, 30.0, 90.0)):
        assert on_line(layout.network, axis, far) == pytest.approx(across)
        assert on_line(layout.network, axis, -far) == pytest.approx(across)
    what = "the field inside the margin" if margin else "the piece"
    assert layout.lines.sentences[0].endswith(f"3 repeats across and 2 along fill {what} exactly")


@pytest.mark.parametrize("laying", LAYINGS)
def test_rings_touch_the_edges(laying: str) -> None:
    """Shippo's lens tips lie on the piece's corners and at every pitch along its sides."""
    layout = layout_of(f"{{name: shippo, across: 3, {laying}}}")
    wanted = {(-45.0 + 30.0 * i, y) for i in range(4) for y in (-30.0, 30.0)}

    assert layout.lines.pitch_mm == pytest.approx(30.0)
    assert wanted <= places(layout.network)


@pytest.mark.parametrize("laying", LAYINGS)
def test_octagons_stand_on_the_edges(laying: str) -> None:
    """Hakkaku's octagons, whose side is the pitch, have a side on the piece's edge: three of 30 mm make 90 mm."""
    layout = layout_of(f"{{name: hakkaku, across: 3, {laying}}}")
    side = 30.0 / (1.0 + math.sqrt(2.0))

    assert layout.lines.pitch_mm == pytest.approx(side)
    assert on_line(layout.network, 0, 45.0) == pytest.approx(2 * side)
    assert on_line(layout.network, 1, -30.0) == pytest.approx(3 * side)


@pytest.mark.parametrize("margin", [0.0, 5.0])
def test_hemp_leaf_leaves_a_strip_at_either_end(margin: float) -> None:
    """Triangles of 25 mm on 100 mm: rows of 25 sqrt(3)/2, four of them, and half of what is left beyond the outer lines."""
    size = 100.0 + 2.0 * margin
    layout = layout_of(f"{{name: asanoha, across: 4, margin: {margin}}}", size, size)
    outer = 2 * 25.0 * math.sqrt(3.0) / 2.0

    assert layout.lines.pitch_mm == pytest.approx(25.0)
    assert on_line(layout.network, 1, outer) == pytest.approx(100.0)
    assert on_line(layout.network, 1, -outer) == pytest.approx(100.0)
    assert f"{100.0 - 2 * outer:.2f} mm are left over, half at either end" in layout.lines.sentences[0]


@pytest.mark.parametrize("margin", [0.0, 5.0])
def test_turned_hemp_leaf_fits_its_rows_to_the_width(margin: float) -> None:
    """A quarter turn puts the rows upright: the width is whole rows, and lines lie on the left and the right edge."""
    size = 100.0 + 2.0 * margin
    layout = layout_of(f"{{name: asanoha, across: 4, rotate: 90, margin: {margin}}}", size, size)

    assert layout.lines.pitch_mm == pytest.approx(100.0 / (4 * math.sqrt(3.0)))
    assert on_line(layout.network, 0, 50.0) == pytest.approx(100.0)
    assert on_line(layout.network, 0, -50.0) == pytest.approx(100.0)


def test_a_square_lattice_on_its_corner_fits_by_its_diagonal() -> None:
    """Turned by 45 degrees the squares' diagonals fill the width: a vertex lies on every corner of the piece."""
    layout = layout_of("{name: ichimatsu, across: 3, rotate: 45}")

    assert layout.lines.pitch_mm == pytest.approx(30.0 / math.sqrt(2.0))
    assert {(x, y) for x in (-45.0, 45.0) for y in (-30.0, 30.0)} <= places(layout.network)


def test_a_turn_that_no_whole_repeats_fit_is_refused() -> None:
    """Turned by 17 degrees squares never come round again straight across: a pitch is asked for instead."""
    for wish, advice in (("across: 3", "give a pitch instead"), ("pitch: about 20 mm", "without 'about'")):
        with pytest.raises(InputError, match=f"turned as it is, does not repeat along the width.*{advice}"):
            layout_of(f"{{name: ichimatsu, {wish}, rotate: 17}}")


@pytest.mark.parametrize(
    ("wish", "pitch"), [("about 22 mm", 20.0), ("about 29 mm", 30.0), ("about 9.9 mm", 10.0)]
)
def test_a_wished_pitch_is_fitted_to_the_field(wish: str, pitch: float) -> None:
    """The pitch nearest the wish that fills the field both ways is taken and told, with a margin as well."""
    for margin in (0.0, 6.0):
        layout = layout_of(
            f"{{name: ichimatsu, pitch: {wish}, margin: {margin}}}", 120.0 + 2 * margin, 60.0 + 2 * margin
        )
        assert layout.lines.pitch_mm == pytest.approx(pitch)
        assert on_line(layout.network, 0, 60.0) == pytest.approx(60.0)
        assert f"wished: {wish.removesuffix(' mm')}" in layout.lines.sentences[0]


@pytest.mark.parametrize(
    ("shape", "width", "height"),
    [("circle", 80.0, 80.0), ("ellipse", 120.0, 80.0), ("rounded, radius: 8", 80.0, 60.0)],
)
def test_round_pieces_are_fitted_by_their_width(shape: str, width: float, height: float) -> None:
    """A circle's diameter counts, whatever the corners of its outline are."""
    layout = layout_of("{name: ichimatsu, across: 4, margin: 4}", width, height, shape)

    assert layout.lines.pitch_mm == pytest.approx((width - 8.0) / 4.0)
    assert (0.0, 0.0) in places(layout.network)


@pytest.mark.parametrize("laying", LAYINGS)
def test_lines_that_run_off_are_fitted_to_the_piece(laying: str) -> None:
    """Running off changes neither the pitch nor where the lines lie, only where they end."""
    off = layout_of(f"{{name: ichimatsu, across: 3, ends: run-off, {laying}}}")
    plain = layout_of(f"{{name: ichimatsu, across: 3, {laying}}}")

    assert off.lines.pitch_mm == plain.lines.pitch_mm
    assert off.lines.sentences == plain.lines.sentences
    assert {(x, y) for x, y in places(plain.network)} <= places(off.network)


MIRRORED = (
    "ichimatsu",
    "kaku-asanoha",
    "asanoha",
    "shippo",
    "kikko",
    "hakkaku",
    "goma",
    "kagome",
    "mie-kikko",
)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(
    name=st.sampled_from(MIRRORED),
    width=st.integers(40, 130),
    height=st.integers(40, 130),
    across=st.integers(1, 5),
    laying=st.sampled_from(LAYINGS),
    margin=st.sampled_from([0.0, 3.5]),
)
def test_what_is_left_over_is_the_same_at_both_ends(
    name: str, width: int, height: int, across: int, laying: str, margin: float
) -> None:
    """A pattern with mirrors both ways lies evenly: left mirrors right; turned by half it is the same or shifted half a row."""
    try:
        layout = layout_of(f"{{name: {name}, across: {across}, margin: {margin}, {laying}}}", width, height)
    except InputError:
        return  # so few lines that none lies on the piece
    xy = np.array(sorted(places(layout.network)))
    flipped = xy * (-1.0, 1.0)
    away = np.hypot(*(flipped[:, None, :] - xy[None, :, :]).transpose(2, 0, 1)).min(axis=1)

    assert away.max() < 0.03


@pytest.mark.parametrize("key", ["margin: 44.9, ", "frame: [{distance: 44.9}], "])
def test_a_field_of_next_to_nothing_is_refused(key: str) -> None:
    """A margin or a frame that leaves a fifth of a millimetre is told by its key; no lines are laid on that."""
    with pytest.raises(InputError, match=r"less than 0\.5 mm is left"):
        layout_of(f"{{{key}name: kikko, pitch: 12}}", 90.0, 90.0, "circle")


def test_a_frame_round_nothing_is_refused() -> None:
    """No place of a triangle is farther from its sides than a third of its height."""
    with pytest.raises(InputError, match=r"nothing is left of the piece 30 mm inside its outline"):
        layout_of("{frame: [{distance: 30}], name: kikko, pitch: 12}", 90.0, 77.942, "polygon, sides: 3")


def test_a_margin_that_cuts_the_piece_apart_is_refused(tmp_path: Path) -> None:
    """A bone with a shaft 10 mm wide falls into two where the margin is over 5 mm."""
    bone = "M0 0H30V25H60V0H90V60H60V35H30V60H0Z"
    (tmp_path / "bone.svg").write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" width="90mm" height="60mm" viewBox="0 0 90 60"><path d="{bone}"/></svg>'
    )
    with pytest.raises(InputError, match=r"6 mm inside its outline the piece falls into 2 parts"):
        layout_of("{margin: 6, name: kikko, pitch: 12}", shape=f"drawing, file: {tmp_path / 'bone.svg'}")
