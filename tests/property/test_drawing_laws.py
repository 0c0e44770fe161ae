"""Laws of drawings: any damage is read or refused in words, and reading does not depend on how a drawing is placed."""

from __future__ import annotations

import io
import math
import tempfile
from pathlib import Path

import ezdxf
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vcarve.drawing.read import read_drawing
from vcarve.errors import InputError
from vcarve.plane.arcs import lengths as lengths_of
from vcarve.plane.inset import inset
from vcarve.plane.region import Region, Ring, area_mm2, corners, inside, perimeter_mm

SVG = """<?xml version="1.0"?>
<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="60mm" viewBox="0 0 80 60">
<style>.a{stroke:#f00}</style><defs><g id="m"><path d="M 0 0 C 3 9 6 -9 9 0"/></g></defs>
<g id="ground" transform="translate(5 5) rotate(10)"><rect x="1" y="2" width="30" height="20" rx="3"/>
<circle class="a" cx="20" cy="20" r="5"/><ellipse cx="40" cy="20" rx="9" ry="4"/><use href="#m" x="3"/></g>
<path d="M 10 10 A 5 8 30 1 0 20 20 Q 30 30 40 10 T 60 10 z"/><polygon points="1,1 9,1 9,9"/></svg>
"""


def dxf_text() -> str:
    """Return a DXF file with one of each kind of entity."""
    document = ezdxf.new("R2000")
    space = document.modelspace()
    space.add_line((0, 0), (10, 5))
    space.add_arc((5, 5), 3, 10, 200)
    space.add_circle((20, 5), 4)
    space.add_ellipse((30, 5), (6, 1), 0.5)
    space.add_lwpolyline([(0, 20, 0.5), (10, 20, 0), (10, 30, -1)], format="xyb", close=True)
    space.add_open_spline([(0, 40, 0), (5, 50, 0), (10, 30, 0), (15, 40, 0)])
    document.blocks.new("b").add_line((0, 0), (1, 1))
    space.add_blockref("b", (40, 40), dxfattribs={"xscale": 3})
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue()


DXF = dxf_text()
# Only the entities and blocks are worth damaging: the rest is tables.
DXF_FROM = DXF.index("BLOCKS")


def read(text: str | bytes, kind: str) -> None:
    """Read a drawing; nothing but ``InputError`` may come of it."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"drawing.{kind}"
        path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8", "surrogatepass"))
        try:
            drawing = read_drawing(path)
        except InputError:
            return
        assert len(drawing.curves)
        assert np.isfinite(drawing.curves).all()
        assert (drawing.curves[:, :2] != drawing.curves[:, 2:4]).any(axis=1).all()


scraps = st.sampled_from(
    ["", "-", "1e400", "nan", "1e9", "<", ">", '"', "#m", "z", "0", "\x00", "é", "&x;", "%", "-1e-300", "mm", "9" * 40, " "]
)  # fmt: skip


@settings(deadline=None, derandomize=True, max_examples=250)
@given(st.integers(0, len(SVG)), st.integers(0, 12), scraps)
def test_a_damaged_svg_is_read_or_refused(at: int, size: int, scrap: str) -> None:
    """Law: whatever is cut out and put in, there is a drawing of finite lines or an ``InputError``."""
    read(SVG[:at] + scrap + SVG[at + size :], "svg")


@settings(deadline=None, derandomize=True, max_examples=150)
@given(st.integers(DXF_FROM, len(DXF)), st.integers(0, 12), scraps)
def test_a_damaged_dxf_is_read_or_refused(at: int, size: int, scrap: str) -> None:
    """Law: whatever is cut out and put in, there is a drawing of finite lines or an ``InputError``."""
    read(DXF[:at] + scrap + DXF[at + size :], "dxf")


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.binary(max_size=400), st.sampled_from(["svg", "dxf"]))
def test_any_bytes_are_read_or_refused(content: bytes, kind: str) -> None:
    """Law: no content of a file gives anything but a drawing or an ``InputError``."""
    read(content, kind)


@st.composite
def stars(draw: st.DrawFn) -> Region:
    """Draw a region seen whole from its centre, with straight and round sides."""
    count = draw(st.integers(3, 9))
    radii = np.array(draw(st.lists(st.floats(8.0, 30.0), min_size=count, max_size=count)))
    bulge = np.array(draw(st.lists(st.sampled_from([0.0, 0.0, 0.15, 0.3]), min_size=count, max_size=count)))
    angles = 2.0 * math.pi * np.arange(count) / count
    return Region(
        outer=Ring(xy_mm=np.column_stack([np.cos(angles), np.sin(angles)]) * radii[:, None], bulge=bulge)
    )


@settings(deadline=None, derandomize=True, max_examples=60)
@given(stars(), st.floats(0.05, 6.0))
def test_an_inset_lies_inside_at_its_distance(region: Region, distance: float) -> None:
    """Law: every corner of an inset lies in the region, that far from its boundary; its area is smaller by the strip at most."""
    import shapely

    if not shapely.Polygon(corners(region.outer)).is_valid:
        return
    boundary = shapely.LinearRing(corners(region.outer, 1e-5))
    parts = inset(region, distance)
    for part in parts:
        places = part.outer.xy_mm
        assert inside(region, places).all()
        assert np.allclose(shapely.distance(boundary, shapely.points(places)), distance, atol=0.002)
    left = sum(area_mm2(part) for part in parts)
    assert area_mm2(region) - left <= distance * perimeter_mm(region) + math.pi * distance**2
    assert left < area_mm2(region)


@settings(deadline=None, derandomize=True, max_examples=40)
@given(st.floats(-180.0, 180.0), st.floats(-500.0, 500.0), st.sampled_from([1.0, -1.0]))
def test_turning_shifting_and_mirroring_keep_every_length(turn: float, shift: float, flip: float) -> None:
    """Law: a drawing moved as a whole has the same lengths and the same number of lines."""

    def lengths(transform: str) -> list[float]:
        body = (
            '<path d="M 0 0 H 30 A 9 9 0 0 1 39 9 V 30 C 30 40 10 20 0 0 Z"/><circle cx="20" cy="12" r="4"/>'
        )
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "drawing.svg"
            head = '<svg xmlns="http://www.w3.org/2000/svg" width="99mm" height="99mm" viewBox="0 0 99 99">'
            path.write_text(f'{head}<g transform="{transform}">{body}</g></svg>')
            return sorted(lengths_of(read_drawing(path).curves).tolist())

    moved = lengths(f"translate({shift!r},{-shift!r}) rotate({turn!r}) scale(1,{flip!r})")
    assert moved == pytest.approx(lengths("scale(1,1)"), abs=1e-5)
