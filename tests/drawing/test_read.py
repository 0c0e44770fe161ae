"""Drawings of lines from SVG and DXF files: units, curves, gaps, doubles, and what is refused."""

from __future__ import annotations

import math
import random
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pytest
from click.testing import CliRunner
from ezdxf import units

from drawn_lines import lines_of
from vcarve.cli.main import cli
from vcarve.drawing.read import Drawing, read_drawing
from vcarve.drawing.svg import read_svg
from vcarve.errors import InputError, InternalError
from vcarve.plane.fit import stray_from

JOB = """\
piece: {width: 60 mm, height: 60 mm, thickness: 8 mm, wood: maple-sugar}
pattern: {name: kaku-asanoha, pitch: 10 mm}
groove: {depth: 0.5 mm}
bit: v60-3.175
machine: small-desktop
"""
HEAD = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'


def svg(tmp_path: Path, body: str, size: str = 'width="100mm" height="100mm" viewBox="0 0 100 100"') -> Path:
    """Write an SVG file of this body and return its path."""
    path = tmp_path / "drawing.svg"
    path.write_text(f"{HEAD} {size}>{body}</svg>", encoding="utf-8")
    return path


def dxf(tmp_path: Path, draw: object, insunits: int = units.MM) -> Path:
    """Let ``draw(modelspace, document)`` fill a DXF file and return its path."""
    document = ezdxf.new("R2010")
    document.units = insunits
    draw(document.modelspace(), document)  # type: ignore[operator]
    path = tmp_path / "drawing.dxf"
    document.saveas(path)
    return path


def length(drawing: Drawing) -> float:
    """Return the length of all lines."""
    return math.fsum(line.length for line in lines_of(drawing))


def codes(drawing: Drawing) -> list[str]:
    """Return the codes of a drawing's findings and of what was mended in it."""
    return [finding.code for finding in drawing.findings] + [mended.code for mended in drawing.mended]


# --- SVG: units and placing ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("size", "mm"),
    [
        ('width="1in" height="1in" viewBox="0 0 10 10"', 25.4),
        ('width="96px" height="96px" viewBox="0 0 10 10"', 25.4),
        ('width="96" height="96" viewBox="0 0 10 10"', 25.4),
        ('width="72pt" height="72pt" viewBox="0 0 10 10"', 25.4),
        ('width="6pc" height="6pc" viewBox="0 0 10 10"', 25.4),
        ('width="2.54cm" height="2.54cm" viewBox="0 0 10 10"', 25.4),
        ('width="25.4mm" height="25.4mm" viewBox="0 0 10 10"', 25.4),
        ('width="30mm" height="50mm" viewBox="0 0 10 10"', 30.0),
        ('width="30mm" height="50mm" viewBox="0 0 10 10" preserveAspectRatio="xMidYMid slice"', 50.0),
    ],
)
def test_absolute_units_follow_css(tmp_path: Path, size: str, mm: float) -> None:
    """CSS Values and Units: 1 in = 25.4 mm = 96 px = 72 pt = 6 pc; a viewBox is scaled evenly into its viewport."""
    drawing = read_drawing(svg(tmp_path, '<path d="M0 0H10"/>', size))

    assert drawing.size_mm[0] == pytest.approx(mm, abs=1e-6)


def test_lengths_inside_the_drawing_may_have_units(tmp_path: Path) -> None:
    """Without a viewBox a number is a px; mm and in are what they say."""
    body = '<line x1="0" y1="0" x2="1in" y2="0"/><line x1="0" y1="10mm" x2="96" y2="10mm"/>'
    drawing = read_drawing(svg(tmp_path, body, 'width="200mm" height="200mm"'))

    assert [line.length for line in lines_of(drawing)] == pytest.approx([25.4, 25.4])


def test_y_points_up_and_the_drawing_is_centred(tmp_path: Path) -> None:
    """What is lower on the SVG page is nearer to the front of the piece."""
    drawing = read_drawing(svg(tmp_path, '<path d="M 10 20 H 50 V 40"/>'))

    assert [(line.start, line.end) for line in lines_of(drawing)] == [
        ((-20.0, 10.0), (20.0, 10.0)),
        ((20.0, 10.0), (20.0, -10.0)),
    ]


def test_a_page_of_the_size_of_the_piece_keeps_its_place(tmp_path: Path) -> None:
    """The page is centred, so the margins drawn are the margins cut; on another piece the lines are centred."""
    path = svg(tmp_path, '<path d="M 10 50 H 30"/>')

    assert lines_of(read_drawing(path, piece_mm=(100.0, 100.0)))[0].start == (-40.0, 0.0)
    assert lines_of(read_drawing(path, piece_mm=(80.0, 100.0)))[0].start == (-10.0, 0.0)


def test_transforms_groups_and_uses_nest(tmp_path: Path) -> None:
    """A turned group, a shifted use inside it and a nested svg: each line lands where the matrices say."""
    body = (
        '<defs><path id="bar" d="M 0 0 H 10"/></defs>'
        '<g transform="translate(50,50) rotate(90)"><use href="#bar" x="5" y="0"/></g>'
        '<svg x="20" y="20" width="20" height="20" viewBox="0 0 10 10"><path d="M 0 0 H 10"/></svg>'
    )
    drawing = read_drawing(svg(tmp_path, body), piece_mm=(100.0, 100.0))

    assert [line.start + line.end for line in lines_of(drawing)] == [
        pytest.approx((0.0, -5.0, 0.0, -15.0)),
        pytest.approx((-30.0, 30.0, -10.0, 30.0)),
    ]


def test_hidden_and_unseen_parts_are_not_cut(tmp_path: Path) -> None:
    """Definitions, clip paths, and what is not displayed leave no lines."""
    body = (
        '<defs><path d="M 0 0 H 90"/></defs><clipPath id="c"><path d="M 0 0 H 80"/></clipPath>'
        '<style>.off {display:none}</style><path class="off" d="M 0 0 H 70"/>'
        '<g display="none"><path d="M 0 0 H 60"/></g><path style="visibility:hidden" d="M 0 0 H 50"/><path d="M 0 0 H 5"/>'
    )
    drawing = read_drawing(svg(tmp_path, body))

    assert length(drawing) == pytest.approx(5.0)


# --- SVG: shapes and curves ----------------------------------------------------------------------------------------


def test_a_circle_stays_a_circle(tmp_path: Path) -> None:
    """Two half circles of the right radius, also through a turn, a mirror and an even scale."""
    body = '<g transform="rotate(30) scale(2,-2)"><circle cx="10" cy="-10" r="7"/></g>'
    drawing = read_drawing(svg(tmp_path, body))

    assert [abs(line.bulge) for line in lines_of(drawing)] == pytest.approx([1.0, 1.0])
    assert length(drawing) == pytest.approx(2.0 * math.pi * 14.0)


def test_elliptical_arcs_of_a_path(tmp_path: Path) -> None:
    """A half circle by the arc command is one arc on the right side; with two radii it follows the ellipse."""
    round_one = read_drawing(svg(tmp_path, '<path d="M 10 50 A 20 20 0 0 1 50 50"/>'))
    flat_one = read_drawing(svg(tmp_path, '<path d="M 10 50 A 20 8 0 0 1 50 50"/>'))

    assert length(round_one) == pytest.approx(20.0 * math.pi, abs=1e-5)
    assert round_one.size_mm == pytest.approx((40.0, 20.0), abs=1e-5)
    # Sweep flag 1 turns clockwise as seen, over the top of the page: clockwise with Y up too.
    assert all(line.bulge < 0.0 for line in lines_of(round_one))
    t = np.linspace(0.0, math.pi, 500)
    ellipse = np.column_stack([20.0 * np.cos(t), 8.0 * np.sin(t) - 4.0])
    assert float(stray_from(ellipse, flat_one.curves).max()) <= 0.002


@pytest.mark.parametrize(
    "path",
    ["M 10 10 C 10 60 80 60 80 10", "M 10 10 C 90 80 10 80 80 10", "M 10 10 C 10 10 40 90 80 10", "M 5 5 Q 50 95 95 5"],
)  # fmt: skip
def test_bezier_paths_are_followed_within_two_micrometres(tmp_path: Path, path: str) -> None:
    """Compared with the curve's own formula, sampled densely."""
    drawing = read_drawing(svg(tmp_path, f'<path d="{path}"/>'), piece_mm=(100.0, 100.0))
    p = np.array([float(v) for v in path.replace("M", "").replace("C", "").replace("Q", "").split()]).reshape(
        -1, 2
    )
    n = len(p) - 1

    t = np.linspace(0.0, 1.0, 4000)[:, None]
    curve = sum(math.comb(n, k) * (1.0 - t) ** (n - k) * t**k * p[k] for k in range(n + 1))
    placed = (np.asarray(curve) - 50.0) * (1.0, -1.0)
    assert float(stray_from(placed, drawing.curves).max()) <= 0.002


def test_a_rounded_rectangle_of_svg(tmp_path: Path) -> None:
    """Perimeter: 2 (w + h) - (8 - 2 pi) r."""
    drawing = read_drawing(svg(tmp_path, '<rect x="5" y="5" width="60" height="40" rx="6"/>'))

    assert length(drawing) == pytest.approx(200.0 - (8.0 - 2.0 * math.pi) * 6.0, abs=1e-5)


# --- SVG: layers ---------------------------------------------------------------------------------------------------


def test_groups_name_layers_and_colours_stand_in(tmp_path: Path) -> None:
    """A line's layer is its innermost named group, else its colour; keys choose among all its names."""
    body = (
        '<g id="deep"><path d="M 0 0 H 10" stroke="#ff0000"/><g id="inner"><path d="M 0 5 H 10"/></g></g>'
        '<path d="M 0 9 H 10" stroke="red"/>'
    )
    path = svg(tmp_path, body)
    plain = read_drawing(path)
    keyed = read_drawing(path, keys=("deep", "#FF0000"))
    only = read_drawing(path, keys=("inner",))

    assert plain.layers == ("deep", "inner", "#ff0000")
    assert [line.feature for line in lines_of(plain)] == [0, 1, 2]
    assert keyed.layers == ("deep", "#FF0000")
    assert [line.feature for line in lines_of(keyed)] == [0, 0, 1]
    assert len(lines_of(only)) == 1
    assert "lines on other layers (2)" in only.findings[0].sentence


# --- gaps and doubles ----------------------------------------------------------------------------------------------


def test_tiny_gaps_are_closed_and_told(tmp_path: Path) -> None:
    """Three sides that miss each other by 0.03 mm close to a triangle; each gap is told with its place."""
    body = '<path d="M 0 0 H 40"/><path d="M 40.03 0 L 20 30"/><path d="M 20 30.02 L 0 0"/>'
    drawing = read_drawing(svg(tmp_path, body))
    ends = [end for line in lines_of(drawing) for end in (line.start, line.end)]

    assert len(set(ends)) == 3
    assert codes(drawing) == ["gap-closed", "gap-closed"]
    assert all(mended.at_mm in ends for mended in drawing.mended)


def test_a_gap_wider_than_the_tolerance_stays(tmp_path: Path) -> None:
    """With a smaller tolerance nothing is moved."""
    path = svg(tmp_path, '<path d="M 0 0 H 40"/><path d="M 40.03 0 L 20 30"/>')

    assert codes(read_drawing(path, close_gaps_mm=0.02)) == []


def test_a_loose_end_is_moved_onto_the_line_it_misses(tmp_path: Path) -> None:
    """A line that stops 0.04 mm short of another ends on it, and that one gets a corner there."""
    drawing = read_drawing(svg(tmp_path, '<path d="M 0 0 H 40"/><path d="M 20 30 V 0.04"/>'))

    assert len(lines_of(drawing)) == 3
    assert sum(abs(line.start[0]) < 1e-9 or abs(line.end[0]) < 1e-9 for line in lines_of(drawing)) == 3
    assert codes(drawing) == ["gap-closed"]


def test_fine_curves_are_not_taken_for_gaps(tmp_path: Path) -> None:
    """Steps far below the tolerance along one line are drawn on purpose: nothing is closed, nothing is lost."""
    t = np.linspace(0.0, 1.0, 400)
    points = " ".join(f"{5 * math.cos(3 * v):.5f},{5 * math.sin(3 * v):.5f}" for v in t)
    drawing = read_drawing(svg(tmp_path, f'<polyline points="{points}"/><circle cx="30" cy="30" r="0.1"/>'))

    assert len(lines_of(drawing)) == 399 + 2
    assert codes(drawing) == []


def test_doubled_and_overlapping_lines_are_cut_once(tmp_path: Path) -> None:
    """The same line twice, once backwards, and two that overlap by half: the length is that of their union."""
    body = '<path d="M 0 0 H 40"/><path d="M 40 0 H 0"/><path d="M 0 20 H 30"/><path d="M 10 20 H 40"/>'
    drawing = read_drawing(svg(tmp_path, body))

    assert length(drawing) == pytest.approx(80.0)
    assert codes(drawing) == ["doubled-line", "doubled-line"]


def test_doubled_arcs_are_cut_once(tmp_path: Path) -> None:
    """A circle drawn twice, the second time from another start, is one circle."""
    body = '<circle cx="50" cy="50" r="20"/><path d="M 50 30 A 20 20 0 0 1 50 70 A 20 20 0 0 1 50 30 Z"/>'
    drawing = read_drawing(svg(tmp_path, body))

    assert length(drawing) == pytest.approx(40.0 * math.pi, abs=1e-4)


def test_lines_nearly_on_each_other_become_one(tmp_path: Path) -> None:
    """Two squares drawn 0.02 mm apart share one side afterwards."""
    body = '<rect width="20" height="20"/><rect x="20.02" width="20" height="20"/>'
    drawing = read_drawing(svg(tmp_path, body))

    assert len(lines_of(drawing)) == 7
    assert codes(drawing).count("doubled-line") == 1


# --- what is refused -----------------------------------------------------------------------------------------------

BILLION = (
    '<?xml version="1.0"?><!DOCTYPE svg [<!ENTITY a "ha">'
    + "".join(f'<!ENTITY {b} "{f"&{a};" * 10}">' for a, b in zip("abcdefghi", "bcdefghij", strict=True))
    + f"]>{HEAD}><text>&j;</text></svg>"
)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (BILLION, "entities"),
        (f'<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/hostname">]>{HEAD}><text>&x;</text></svg>', "entities"),
        (f'{HEAD}><image xlink:href="https://example.org/a.png"/></svg>', "outside its file"),
        (f'{HEAD}><use href="other.svg#part"/></svg>', "outside its file"),
        (f'{HEAD}><use xlink:href="file:///etc/hostname"/></svg>', "outside its file"),
        (f'{HEAD}><style>@import "https://example.org/a.css";</style></svg>', "outside its file"),
        (f'{HEAD}><rect width="5" height="5" style="fill:url(https://example.org/a)"/></svg>', "outside its file"),
        (f'<?xml-stylesheet href="a.css"?>{HEAD}><path d="M 0 0 H 5"/></svg>', "outside the file"),
        (f'{HEAD}><g id="a"><use href="#a"/></g></svg>', "uses itself"),
        (f'{HEAD}><use href="#none"/></svg>', "this name"),
        (f"{HEAD}>{'<g>' * 300}{'</g>' * 300}</svg>", "nested more than"),
        (f'{HEAD} width="100mm" height="100mm"><path d="M 0 0 L nan 5"/></svg>', "'L nan 5': .* L should be followed by x and y"),
        (f'{HEAD}><path d="M 0 0 L 1e400 5"/></svg>', "not a number"),
        (f'{HEAD} width="1mm" height="1mm" viewBox="0 0 1 1"><path d="M 0 0 H 1e9"/></svg>', "1e\\+09 mm from"),
        (f'{HEAD}><circle cx="0" cy="0" r="1e200"/></svg>', "circle cannot be read"),
        (f'{HEAD}><circle cx="0" cy="0" r="1e9"/></svg>', "farther than 100 m"),
        (f'{HEAD}><path d="M 0 0 C 1e300 0 0 1e300 5 5"/></svg>', "farther than 100 m"),
        (f'{HEAD}><path d="M 0 0 L 5 x"/></svg>', "path cannot be read"),
        (f'{HEAD}><path transform="spin(4)" d="M 0 0 L 5 5"/></svg>', "transform cannot be read"),
        (f'{HEAD} width="ten"><path d="M 0 0 L 5 5"/></svg>', "width should be a length"),
        (f'{HEAD} viewBox="0 0 0 5"><path d="M 0 0 L 5 5"/></svg>', "viewBox should have"),
        (f'{HEAD}><path d="M 0 0 H 5">', "not readable XML"),
        ("plain words", "not readable XML"),
        ("", "not readable XML"),
        ("<html><body/></html>", "not an SVG drawing"),
        (f"{HEAD}></svg>", "no lines"),
        (f"{HEAD}><text>words</text></svg>", r"no lines; it holds text \(1\)"),
        (f'{HEAD}><path d="M 0 0 H 0.001"/></svg>', "longer than the gaps|check its units"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_safely_is_refused(tmp_path: Path, text: str, words: str) -> None:
    """Each is answered with a sentence about what is wrong, and the file's name."""
    path = tmp_path / "bad.svg"
    path.write_text(text, encoding="utf-8")

    with pytest.raises(InputError, match=words) as caught:
        read_drawing(path)
    assert caught.value.problems[0].file == str(path)


def test_uses_that_multiply_without_end_are_refused(tmp_path: Path) -> None:
    """Ten groups, each of ten uses of the one before, would be ten thousand million lines."""
    parts = ['<g id="g0"><path d="M 0 0 H 5"/></g>']
    parts += [f'<g id="g{i}">{f"""<use href="#g{i - 1}"/>""" * 10}</g>' for i in range(1, 11)]
    path = svg(tmp_path, f'<defs>{"".join(parts)}</defs><use href="#g10"/>')

    with pytest.raises(InputError, match=r"with all its repeated parts the drawing has [\d,]{14,} elements"):
        read_drawing(path)


def test_parts_that_use_each_other_too_deeply_are_refused(tmp_path: Path) -> None:
    """A chain of a thousand uses is told, not followed."""
    chain = "".join(f'<use id="u{i}" href="#u{i + 1}"/>' for i in range(1000))

    with pytest.raises(InputError, match="too deeply"):
        read_drawing(svg(tmp_path, f'{chain}<path id="u1000" d="M 0 0 H 5"/>'))


def test_a_plain_document_type_is_read(tmp_path: Path) -> None:
    """The document type line many programs write names an address, which is never fetched."""
    path = tmp_path / "old.svg"
    path.write_text(
        '<?xml version="1.0"?><!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" '
        f'"http://www.w3.org/Graphics/SVG/1.1/DTD/svg11.dtd">{HEAD} width="50mm" height="50mm"><path d="M 0 0 H 96"/></svg>'
    )

    assert length(read_drawing(path)) == pytest.approx(25.4)


def test_other_files_are_refused(tmp_path: Path) -> None:
    """A missing file, another kind of file and one that is too large are told apart."""
    big = tmp_path / "big.svg"
    big.write_bytes(b" " * 20_000_001)
    (tmp_path / "picture.png").write_bytes(b"")

    for name, words in (
        ("none.svg", "cannot be read: there is no such file"),
        ("picture.png", ".svg or a .dxf"),
        ("big.svg", "20 MB"),
    ):
        with pytest.raises(InputError, match=words):
            read_drawing(tmp_path / name)


def test_pictures_and_text_are_left_out_and_told(tmp_path: Path) -> None:
    """What cannot be cut is named once, with its number."""
    body = '<text>a</text><text>b</text><image href="data:image/png;base64,AA=="/><path d="M 0 0 H 5"/>'
    drawing = read_drawing(svg(tmp_path, body))

    assert drawing.findings[0].sentence == "Left out: pictures (1), text (2)."


# --- DXF -----------------------------------------------------------------------------------------------------------


def test_dxf_lines_polylines_arcs_and_circles(tmp_path: Path) -> None:
    """Lengths: a line, a polyline with a half circle, a quarter arc and a circle."""

    def draw(space, document) -> None:
        space.add_line((0, 0), (30, 40))
        space.add_lwpolyline([(100, 0, 0), (110, 0, 1), (110, 10, 0)], format="xyb")
        space.add_arc((200, 0), radius=10, start_angle=350, end_angle=80)
        space.add_circle((300, 0), radius=5)
        space.add_polyline2d([(400, 0), (410, 0), (410, 10)], close=True)

    drawing = read_drawing(dxf(tmp_path, draw))

    expected = (
        50.0 + (10.0 + 5.0 * math.pi) + 5.0 * math.pi + 10.0 * math.pi + (20.0 + math.hypot(10.0, 10.0))
    )
    assert length(drawing) == pytest.approx(expected, abs=1e-5)
    assert drawing.findings == ()


def test_a_positive_bulge_turns_counter_clockwise(tmp_path: Path) -> None:
    """The half circle from (0, 0) to (0, 10) with bulge 1 bows to the right of its chord, towards +X."""

    def draw(space, document) -> None:
        space.add_lwpolyline([(0, 0, 1), (0, 10, 0)], format="xyb")

    drawing = read_drawing(dxf(tmp_path, draw))

    assert lines_of(drawing)[0].bulge == pytest.approx(1.0)
    assert lines_of(drawing)[0].start[0] == pytest.approx(-2.5)


def test_entities_seen_from_below_are_mirrored(tmp_path: Path) -> None:
    """With its normal turned down an arc from 0° to 90° lies to the left and turns clockwise."""

    def draw(space, document) -> None:
        space.add_arc((0, 0), radius=10, start_angle=0, end_angle=90, dxfattribs={"extrusion": (0, 0, -1)})
        space.add_line((-10, 0), (0, 10))
        space.add_arc((50, 0), radius=10, start_angle=0, end_angle=90, dxfattribs={"extrusion": (0, 1, 0)})

    drawing = read_drawing(dxf(tmp_path, draw))

    assert drawing.size_mm == pytest.approx((10.0, 10.0))
    assert lines_of(drawing)[0].bulge == pytest.approx(-math.tan(math.pi / 8.0))
    assert {lines_of(drawing)[0].start, lines_of(drawing)[0].end} == {
        lines_of(drawing)[1].start,
        lines_of(drawing)[1].end,
    }
    assert "do not lie flat (1)" in drawing.findings[0].sentence


def test_dxf_ellipses_and_splines_are_followed(tmp_path: Path) -> None:
    """An ellipse against its formula; a spline against another library's evaluation of it (scipy's B-splines)."""
    from scipy.interpolate import BSpline

    control = np.array(
        [(0, 0, 0), (20, 60, 0), (40, -60, 0), (60, 50, 0), (80, 0, 0), (95, 30, 0)], dtype=float
    )
    knots = [0, 0, 0, 0, 1, 2, 3, 3, 3, 3]

    def draw_ellipse(space, document) -> None:
        space.add_ellipse((0, 0), major_axis=(30, 40), ratio=0.4)

    def draw_spline(space, document) -> None:
        space.add_open_spline(control, knots=knots)

    t = np.linspace(0.0, 2.0 * math.pi, 2000)
    major, minor = np.array([30.0, 40.0]), np.array([-16.0, 12.0])
    ellipse = np.cos(t)[:, None] * major + np.sin(t)[:, None] * minor
    assert float(stray_from(ellipse, read_drawing(dxf(tmp_path, draw_ellipse)).curves).max()) <= 0.002

    path = dxf(tmp_path, draw_spline)
    drawing = read_drawing(path)
    curve = BSpline(knots, control[:, :2], 3)(np.linspace(0.0, 3.0, 4000))
    shift = np.array(lines_of(drawing)[0].start) - curve[0]
    assert float(stray_from(curve + shift, drawing.curves).max()) <= 0.002


def test_dxf_units(tmp_path: Path) -> None:
    """Inches are 25.4 mm, and a file that does not say its unit is read as millimetres, with a word about it."""

    def draw(space, document) -> None:
        space.add_line((0, 0), (2, 0))

    assert read_drawing(dxf(tmp_path, draw, units.IN)).size_mm[0] == pytest.approx(50.8)
    assert read_drawing(dxf(tmp_path, draw, units.CM)).size_mm[0] == pytest.approx(20.0)
    unsaid = read_drawing(dxf(tmp_path, draw, 0))
    assert unsaid.size_mm[0] == pytest.approx(2.0)
    assert "millimetres were assumed" in unsaid.findings[0].sentence


def test_dxf_blocks_layers_and_colours(tmp_path: Path) -> None:
    """Block references are scaled, turned and repeated; layer 0 inside is the reference's layer; colours are keys too."""

    def draw(space, document) -> None:
        document.layers.add("leaf", color=1)
        document.layers.add("off").off()
        block = document.blocks.new("bar")
        block.add_line((0, 0), (10, 0))
        size, row = {"xscale": 2, "yscale": 2, "rotation": 90}, {"row_count": 3, "row_spacing": 5}
        space.add_blockref("bar", (0, 0), dxfattribs=size | row | {"layer": "leaf"})
        space.add_line((50, 0), (50, 7), dxfattribs={"layer": "off"})
        space.add_line((0, 30), (9, 30), dxfattribs={"color": 5})

    path = dxf(tmp_path, draw)
    drawing = read_drawing(path)

    assert drawing.layers == ("leaf", "0")
    assert length(drawing) == pytest.approx(3 * 20.0 + 9.0)
    assert "switched off (1)" in drawing.findings[0].sentence
    assert read_drawing(path, keys=("#ff0000", "#0000ff")).layers == ("#ff0000", "#0000ff")


def test_dxf_limits_are_its_page(tmp_path: Path) -> None:
    """Drawing limits of the size of the piece keep the lines where they were drawn."""

    def draw(space, document) -> None:
        space.reset_limits((0, 0), (80, 60))
        space.add_line((10, 10), (20, 10))

    assert lines_of(read_drawing(dxf(tmp_path, draw), piece_mm=(80.0, 60.0)))[0].start == (-30.0, -20.0)


def test_dxf_blocks_that_swell_are_refused(tmp_path: Path) -> None:
    """Blocks of blocks of blocks, each ten times, and a reference of a million rows."""

    def nest(space, document) -> None:
        inner = document.blocks.new("b0")
        inner.add_line((0, 0), (1, 0))
        for i in range(1, 11):
            outer = document.blocks.new(f"b{i}")
            for _ in range(10):
                outer.add_blockref(f"b{i - 1}", (0, 0))
        space.add_blockref("b10", (0, 0), dxfattribs={"row_count": 30000, "column_count": 30000})

    with pytest.raises(InputError, match="entities; draw less"):
        read_drawing(dxf(tmp_path, nest))


@pytest.mark.parametrize(
    "content", [b"", b"nothing", b"0\nSECTION\n2\nENTITIES\n0\nLINE\n", b"\x00\xff" * 500]
)
def test_what_is_no_dxf_is_refused(tmp_path: Path, content: bytes) -> None:
    """Empty, plain, cut short and binary files are answered with a sentence."""
    path = tmp_path / "bad.dxf"
    path.write_bytes(content)

    with pytest.raises(InputError, match=r"not a readable DXF|no lines"):
        read_drawing(path)


@pytest.mark.parametrize("far", [1e9, math.inf, math.nan])
def test_dxf_coordinates_beyond_sense_are_refused(tmp_path: Path, far: float) -> None:
    """A line 1000 km long, or to nowhere, is no piece of wood."""

    def draw(space, document) -> None:
        space.add_line((0, 0), (far, 0))

    with pytest.raises(InputError, match=r"farther than 100 m|not a number|not a readable DXF"):
        read_drawing(dxf(tmp_path, draw))


def test_dxf_text_and_hatches_are_left_out_and_told(tmp_path: Path) -> None:
    """What cannot be cut is named once, with its number."""

    def draw(space, document) -> None:
        space.add_text("words")
        space.add_hatch().paths.add_polyline_path([(0, 0), (1, 0), (1, 1)])
        space.add_line((0, 0), (10, 0))

    assert read_drawing(dxf(tmp_path, draw)).findings[0].sentence == "Left out: hatches (1), text (1)."


@pytest.mark.parametrize("kind", ["svg", "dxf"])
def test_a_file_without_an_end_is_refused(tmp_path: Path, kind: str) -> None:
    """A link to a device that gives bytes for ever is read up to the largest size taken and no further."""
    path = tmp_path / f"endless.{kind}"
    path.symlink_to("/dev/zero")
    with pytest.raises(InputError, match="larger than 20 MB"):
        read_drawing(path)


@pytest.mark.slow
def test_a_line_drawn_very_many_times_stays_one(tmp_path: Path) -> None:
    """Ten thousand copies of a line are one line; comparing each with each would fill the memory."""
    drawing = read_drawing(svg(tmp_path, f'<path d="{"M1 1 L2 2 " * 10_000}"/>'))

    assert len(lines_of(drawing)) == 1
    assert codes(drawing) == ["doubled-line"] * 9_999


def test_of_style_rules_the_later_wins(tmp_path: Path) -> None:
    """Rules by element, name and class are taken in the order they are written, over attributes, under a style of its own."""
    rules = (
        "<style>.a{stroke:#00ff00} path, .b{stroke:#0000ff} #n{display:none} line.c{stroke:#ff0000}</style>"
    )
    body = (
        '<path class="a" d="M0 0H9" stroke="#111111"/><line class="c a" x1="0" y1="5" x2="9" y2="5"/>'
        '<path style="stroke:#abcdef" d="M0 20H9"/><path id="n" d="M0 30H9"/>'
    )
    drawing = read_drawing(svg(tmp_path, rules + body))

    assert sorted(drawing.layers) == ["#0000ff", "#abcdef", "#ff0000"]


def test_a_path_of_closings_is_refused_at_once(tmp_path: Path) -> None:
    """Each closing looks back for where its part began, so that very many would take for ever."""
    with pytest.raises(InputError, match="too many commands"):
        read_drawing(svg(tmp_path, f'<path d="M0 0 {"L1 1 z " * 1000}"/>'))


@pytest.mark.parametrize(
    ("data", "written", "right"),
    [
        (
            "M0 0 L50 40 x",
            "x",
            "a command, one of M L H V C S Q T A Z, should stand here, or x and y once more for L",
        ),
        ("M0 0 L50 40 # L9 9", "# L9 9", "a command"),
        ("M0 0 B 5 5", "B 5 5", "a command"),
        ("M0 0 L50 40 7", "7", "x and y once more for L"),
        ("M0 0 L50,,40", "L50,,40", "L should be followed by x and y"),
        ("M0 0 L50 5e", "e", "x and y once more"),
        ("M0 0 V L50 40", "V L50 40", "V should be followed by one number"),
        ("M0 0 l9 9 z 5 5", "5 5", "a command, one of M L H V C S Q T A Z, should stand here"),
        ("M0 0 L z", "L z", "L should be followed by x and y"),
        ("M0 0 A 5 5 0 2 0 9 9", "A 5 5 0 2 0 9 9", "two flags 0 or 1"),
        ("L9 9 L20 20", "L9 9 L20 20", "a path should begin with M"),
        ("M0 0 L1_0 5", "L1_0 5", "L should be followed by x and y"),
    ],
)
def test_a_path_that_is_not_understood_is_never_cut_short(
    tmp_path: Path, data: str, written: str, right: str
) -> None:
    """SVG 1.1, 8.3.9 (from memory): what the grammar has no place for is answered with line, text and what would be right."""
    with pytest.raises(InputError) as caught:
        read_drawing(svg(tmp_path, f'<path d="M0 9 H5"/>\n<path d="{data}"/>'))

    [problem] = caught.value.problems
    assert (problem.line, problem.value) == (2, written)
    assert right in problem.want


@pytest.mark.parametrize(
    ("data", "ends"),
    [
        ("M0 0 L50 5. L50 40", [(50.0, 5.0), (50.0, 40.0)]),
        ("M0 0L5..5", [(5.0, 0.5)]),
        ("M0,0-5+5.5.5.25", [(-5.0, 5.5), (0.5, 0.25)]),
        ("M0 0 H1.e1", [(10.0, 0.0)]),
        ("M0 0a5 5 0 0110 0", [(10.0, 0.0)]),
        ("M0 0 L5 5,L 9 9 , z", [(5.0, 5.0), (9.0, 9.0), (0.0, 0.0)]),
    ],
)
def test_numbers_of_a_path_are_read_as_the_grammar_has_them(
    tmp_path: Path, data: str, ends: list[tuple[float, float]]
) -> None:
    """A number may end in its point (SVG 1.1), begin with it, and follow another without a space."""
    sheet = read_svg(
        svg(tmp_path, f'<path d="{data}"/>', 'width="99" height="99"').read_bytes(), "drawing.svg"
    )

    drawn = sheet.lines()[0][:, 2:4] * (96 / 25.4, -96 / 25.4)
    assert drawn.tolist()[-len(ends) :] == [pytest.approx(end) for end in ends]


@pytest.mark.parametrize(
    "points", ["0,0 9,9 5", "0,0 9,9 x 5,5", "0,0 1_0,5", "0,0 nan,5", "0 0 L 5 5", "0,0,,9,9"]
)
def test_points_that_are_not_pairs_of_numbers_are_refused(tmp_path: Path, points: str) -> None:
    """A number too many is as little left out as a word."""
    with pytest.raises(InputError, match=r"svg:1: '.*': points should be pairs of numbers"):
        read_drawing(svg(tmp_path, f'<polyline points="{points}"/>'))


@pytest.mark.parametrize(
    "text",
    [
        "translate(5 x)",
        "translate(5mm)",
        "rotate(10,20)",
        "translate(1,2,3)",
        "scale(2) 5",
        "translate(1,,2)",
        "scale()",
    ],
)
def test_a_transform_that_is_not_understood_is_refused(tmp_path: Path, text: str) -> None:
    """SVG 1.1, 7.6 (from memory): each transform has its count of numbers, and nothing stands between."""
    with pytest.raises(InputError, match=r"svg:1: '.*': this transform cannot be read; write matrix"):
        read_drawing(svg(tmp_path, f'<g transform="{text}"><path d="M0 0H9"/></g>'))


@pytest.mark.parametrize(
    "given",
    [
        'transform="rotate(90.)"',
        'style="transform: rotate(90deg)"',
        'transform="translate(5.e1 0),rotate(90)"',
    ],
)
def test_transforms_of_an_attribute_or_a_style_are_read(tmp_path: Path, given: str) -> None:
    """A transform in a style (SVG 2, 8.5) turns a line as an attribute does."""
    drawing = read_drawing(svg(tmp_path, f'<path {given} d="M0 0H9"/>'))

    assert drawing.size_mm == pytest.approx((0.0, 9.0), abs=1e-9)


def test_a_transform_about_another_origin_is_refused(tmp_path: Path) -> None:
    """What would place the lines elsewhere is not passed over."""
    with pytest.raises(InputError, match="'5px 5px': transform-origin is not read"):
        read_drawing(
            svg(tmp_path, '<path transform="rotate(9)" style="transform-origin:5px 5px" d="M0 0H9"/>')
        )


def test_a_style_that_shapes_a_line_is_refused(tmp_path: Path) -> None:
    """SVG 2 lets a style give a shape its size; what would have another one is not drawn without it."""
    with pytest.raises(
        InputError, match=r"'x: 5px; width: 9px': .* rect is not read; write width as an attribute"
    ):
        read_drawing(svg(tmp_path, '<path d="M0 0H9"/><rect height="9" style="x: 5px; width: 9px"/>'))


def test_style_rules_that_are_not_understood_are_told(tmp_path: Path) -> None:
    """A rule for what stands inside something else is not applied, and that is said with its line."""
    rules = "<style>g .off {display: none} .on {display: inline}</style>"
    [said] = flattened(read_drawing(svg(tmp_path, rules + '<g><path class="off" d="M0 0H9"/></g>')))

    assert said.startswith("drawing.svg, line 1: the style rule for g .off is not read")


# --- what lines have that is not cut ------------------------------------------------------------------------------


def flattened(drawing: Drawing) -> list[str]:
    """Return the sentences about what lines have that is not cut."""
    return [finding.sentence for finding in drawing.findings if finding.code == "drawing-flattened"]


@pytest.mark.parametrize(
    "body",
    [
        '\n<path stroke-dasharray="4 2" d="M0 0H50"/>',
        '\n<path style="stroke-dasharray: 4,2" d="M0 0H50"/>',
        '\n<g stroke-dasharray="4"><path id="a"\nd="M0 0H50"/></g>',
        "<style>.d {stroke-dasharray: 4}</style>\n<path class='d' d='M0 0H50'/>",
    ],
)
def test_dashes_of_svg_are_told_with_their_line(tmp_path: Path, body: str) -> None:
    """Dashes come from an attribute, a style, a group or a rule; the whole line is cut, and that is said once."""
    found = read_drawing(svg(tmp_path, body))

    assert length(found) == pytest.approx(50.0)
    assert [said[:27] for said in flattened(found)] == ["drawing.svg, line 2: dashes"]


def test_no_dashes_are_nothing_to_tell(tmp_path: Path) -> None:
    """Neither the word for none nor dashes of no length are dashes; a line may refuse those of its group."""
    body = '<path stroke-dasharray="none" d="M0 0H50"/><path stroke-dasharray="0" d="M0 9H50"/>'
    group = '<g stroke-dasharray="4"><path stroke-dasharray="none" d="M0 5H50"/></g>'

    assert flattened(read_drawing(svg(tmp_path, body + group))) == []


def test_moving_parts_of_svg_are_told(tmp_path: Path) -> None:
    """Movement inside a shape and in a style sheet: the shape is cut as it stands, and that is said."""
    body = '<path d="M0 0H50">\n<animate attributeName="d" to="M0 9H50"/></path>\n<animateTransform/>'
    style = "\n<style>@keyframes a {from {opacity: 1}}</style>"
    [said] = flattened(read_drawing(svg(tmp_path, body + style)))

    assert said.startswith("drawing.svg, line 2: this moves")
    assert said.endswith("The same in 2 more.")


def test_dashes_of_dxf_are_told_with_their_entity(tmp_path: Path) -> None:
    """A line type of the entity or of its layer; a continuous one is nothing to tell."""

    def draw(space: object, document: object) -> None:
        document.linetypes.add("DASHED", [1.0, 0.5, -0.5])  # type: ignore[attr-defined]
        document.layers.add("hidden", linetype="DASHED")  # type: ignore[attr-defined]
        space.add_line((0, 0), (50, 0), dxfattribs={"linetype": "DASHED"})  # type: ignore[attr-defined]
        space.add_line((0, 5), (50, 5), dxfattribs={"layer": "hidden"})  # type: ignore[attr-defined]
        space.add_line((0, 9), (50, 9))  # type: ignore[attr-defined]

    [said] = flattened(read_drawing(dxf(tmp_path, draw)))

    assert said.startswith("drawing.dxf, LINE #")
    assert "DASHED" in said
    assert said.endswith("The same in 1 more.")


@pytest.mark.parametrize(
    "add",
    [
        lambda space: space.add_line((0, 0, 0), (50, 0, 3)),
        lambda space: space.add_lwpolyline([(0, 0), (50, 0)], dxfattribs={"elevation": -2}),
        lambda space: space.add_polyline3d([(0, 0, 1), (50, 0, 2)]),
        lambda space: space.add_circle((0, 0, 5), 9),
        lambda space: space.add_spline([(0, 0, 0), (20, 5, 1), (50, 0, 0), (60, 0, 0)]),
        lambda space: space.add_line((0, 0), (50, 0), dxfattribs={"thickness": 4}),
    ],
)
def test_heights_of_dxf_are_told(tmp_path: Path, add: object) -> None:
    """What is drawn above or below the plane is cut as seen from above, and that is said."""
    [said] = flattened(read_drawing(dxf(tmp_path, lambda space, _: add(space))))  # type: ignore[operator]

    assert "heights are left out" in said


def test_a_drawing_inside_a_drawing_is_told(tmp_path: Path) -> None:
    """A reference to another file is not followed; what it would show is missing, and that is said."""

    def draw(space: object, document: object) -> None:
        document.add_xref_def("other.dxf", "fence")  # type: ignore[attr-defined]
        space.add_blockref("fence", (0, 0))  # type: ignore[attr-defined]
        space.add_line((0, 0), (50, 0))  # type: ignore[attr-defined]

    [said] = flattened(read_drawing(dxf(tmp_path, draw)))

    assert "INSERT #" in said
    assert "the drawing fence is referred to and not read" in said


# --- files that are damaged ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "path",
    ["M10 20 L30 30 H", "M1 1 C", "M1 1 Q 2", "M", "M1", "M1 1 A 1 1 0 0 1", "M1 1 L2 2 T", "H", "zz", "M5 5 S"],
)  # fmt: skip
def test_paths_that_break_off_are_refused(tmp_path: Path, path: str) -> None:
    """A command without its numbers never gets further than a sentence that names the file and the line."""
    with pytest.raises(InputError, match=r"drawing\.svg.*(cannot be read|has no lines|should begin with M)"):
        read_drawing(svg(tmp_path, f'<path d="{path}"/>'))


@pytest.mark.parametrize(
    "fault",
    [AssertionError(type), KeyError("x"), RecursionError(), StopIteration(), RuntimeError(), OSError(5, "x")],
)
def test_whatever_the_dxf_library_stumbles_over_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fault: Exception
) -> None:
    """A damaged file makes the library raise anything at all; the person gets one sentence with the file's name."""

    def stumble(*_: object) -> None:
        raise fault

    path = dxf(tmp_path, lambda space, _: space.add_line((0, 0), (10, 5)))
    monkeypatch.setattr("ezdxf.recover.read", stumble)
    with pytest.raises(InputError, match=r"drawing\.dxf: this is not a readable DXF drawing"):
        read_drawing(path)


def mixed(space: Any, document: Any) -> None:
    """Draw a line, an arc, a run with a bow, an ellipse and a spline, and all of them again in a block."""
    block = document.blocks.new("B")
    for place in (space, block):
        place.add_line((0, 0), (10, 5))
        place.add_circle((1, 1), 2)
        place.add_lwpolyline([(0, 0, 0, 0, 0.5), (9, 0, 0, 0, 0)])
        place.add_ellipse((5, 5), (5, 1), 0.4)
        place.add_open_spline([(0, 0), (3, 9), (6, 0), (9, 9), (12, 0)])
    space.add_blockref("B", (9, 3))


@pytest.mark.parametrize("fault", [InternalError("a proof failed"), ValueError("a slip")])
@pytest.mark.parametrize(
    ("module", "work"),
    [
        ("svg_path", "fit_arcs"),
        ("svg_path", "ellipse_arc"),
        ("sheet", "Sheet.add"),
        ("dxf", "ellipse_arc"),
        ("dxf", "fit_arcs"),
        ("dxf", "_Reader._flat"),
        ("sheet", "Sheet.check_size"),
    ],
)
def test_a_fault_of_our_own_is_not_laid_to_the_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, module: str, work: str, fault: Exception
) -> None:
    """What goes wrong in our own code with a sound drawing ends as an internal error."""
    curves = svg(tmp_path, '<path d="M0 0H10C20 0 20 9 30 9A5 9 20 0 1 40 19"/>')
    drawings = [curves] if module == "svg_path" else [dxf(tmp_path, mixed)]
    if module == "sheet":
        drawings.append(curves)

    def slip(*_: object, **__: object) -> None:
        raise fault

    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))  # where its evidence goes
    monkeypatch.setattr(f"vcarve.drawing.{module}.{work}", slip)
    for drawing in drawings:
        words = ["--set", f"pattern={{drawing: {drawing.name}}}"]
        (tmp_path / "job.yaml").write_text(JOB)
        done = CliRunner().invoke(cli, ["program", str(tmp_path / "job.yaml"), *words])

        assert done.exit_code == 70, done.output


def test_a_lack_of_memory_is_no_colour(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Memory that gives out while a colour is read is not taken for a colour that is none."""

    def lacking(*_: object) -> None:
        raise MemoryError

    monkeypatch.setattr("svgelements.Color", lacking)
    with pytest.raises(MemoryError):
        read_drawing(svg(tmp_path, '<path d="M0 0H10" stroke="red"/>'))


@pytest.mark.slow
def test_damaged_dxf_files(tmp_path: Path) -> None:
    """A DXF file with lines lost, doubled or changed is read or refused, and nothing else."""

    def draw(space: Any, document: Any) -> None:
        document.blocks.new("B").add_circle((1, 1), 2)
        space.add_lwpolyline([(0, 0, 0, 0, 1), (9, 0, 0, 0, -1), (9, 9, 0, 0, 0.3)], close=True)
        space.add_ellipse((5, 5), (5, 1), 0.4)
        space.add_open_spline([(0, 0), (3, 9), (6, 0), (9, 9), (12, 0)])
        space.add_blockref("B", (9, 3), dxfattribs={"xscale": -2, "rotation": 30, "column_count": 2})

    path = dxf(tmp_path, draw)
    lines = path.read_bytes().split(b"\n")
    body = lines.index(b"ENTITIES")
    dice = random.Random(7)
    read = refused = 0
    for _ in range(120):
        damaged = list(lines)
        for _ in range(dice.randint(1, 3)):
            # What is drawn is hit as often as all the tables before it.
            at = dice.randrange(body if dice.random() < 0.5 else 0, len(damaged))
            words = [
                b"nan",
                b"1e300",
                b"-1",
                b"0",
                b"",
                b"SPLINE",
                b"INSERT",
                b"ENDSEC",
                b" 10",
                b"\xff",
                b"1e-9",
            ]
            part = [damaged[at:at], [dice.choice(words)], damaged[at : at + 9] * 2][dice.randrange(3)]
            damaged[at : at + dice.randint(1, 4)] = part
        path.write_bytes(b"\n".join(damaged))
        try:
            read_drawing(path)
            read += 1
        except InputError:
            refused += 1

    assert read > 10
    assert refused > 10


@pytest.mark.slow
def test_corners_too_many_and_too_close_to_close_gaps_are_refused(tmp_path: Path) -> None:
    """A zigzag of twenty thousand points on a few millimetres has millions of near corners: told with the key to change."""
    points = " ".join(f"{10 + k * 0.0005:.4f},{10 + 0.01 * (k % 2):.3f}" for k in range(20_000))
    drawing = tmp_path / "zigzag.svg"
    drawing.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">'
        f'<polyline fill="none" stroke="black" points="{points}"/></svg>'
    )

    with pytest.raises(InputError, match="corners lie this close together") as caught:
        read_drawing(drawing, close_gaps_mm=0.05)

    assert caught.value.problems[0].key == "pattern.close-gaps"
