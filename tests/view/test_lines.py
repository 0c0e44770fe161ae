"""Drawings for other programs: true to scale, arcs as arcs, the same network when read again, the same bytes each time."""

from __future__ import annotations

import io
from functools import cache
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pytest
import shapely
from ezdxf import recover
from shapely.geometry import Polygon

from drawn_lines import Line, rows
from land_rings import footprint
from small_network import FEATURES, build, build_lines
from vcarve.drawing.read import read_drawing
from vcarve.groove.land import closed_cells, measure, outer_rings
from vcarve.groove.model import Grooves
from vcarve.groove.taper import taper
from vcarve.job.bench import Bit
from vcarve.network.model import Feature, Network
from vcarve.pattern.model import pattern
from vcarve.pattern.shapes import circle, rounded_rectangle
from vcarve.plane.fit import with_arcs
from vcarve.plane.region import Region, Ring, bounds, corners, rings_of
from vcarve.view.lines import drawn_page, dxf_text, svg_text

BIT = Bit(angle_deg=60.0, diameter_mm=6.0, shank_mm=6.0)
CASES = ("asanoha", "shippo", "kikko")


@cache
def case(name: str) -> tuple[Network, Grooves, Region]:
    """Return a small network, its grooves and its region: a round piece for the arcs, a rounded rectangle else."""
    region = circle(60.0) if name == "shippo" else rounded_rectangle(70.0, 50.0, 6.0)
    network = build(pattern(name), region=region, pitch_mm=16.0, edge="plain")
    return network, measure(network, BIT, {0: 1.2, 1: 0.8, 2: 1.2}), region


def edges(network: Network) -> set[tuple[int, ...]]:
    """Return what tells edges apart, whichever way they are walked: both ends in µm, the sag in µm, whether it is cut."""
    found = set()
    sag = network.bulge * network.chord_mm / 2.0
    xy = np.round(network.xy_mm * 1000.0).astype(int)
    for tail, head, bow, cut in zip(network.tail, network.head, sag, network.cut, strict=True):
        a, b = tuple(xy[tail].tolist()), tuple(xy[head].tolist())
        flip = a > b
        found.add((*min(a, b), *max(a, b), round(float(-bow if flip else bow) * 1000.0), int(cut)))
    return found


@pytest.mark.slow
@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("kind", ["svg", "dxf"])
def test_a_network_drawn_and_read_again_is_the_same_network(tmp_path: Path, name: str, kind: str) -> None:
    """Every vertex, edge, arc and cell comes back, through either format."""
    network, grooves, region = case(name)
    left, front, right, back = bounds(region)
    size = (right - left, back - front)
    text = (svg_text if kind == "svg" else dxf_text)(drawn_page(network, grooves, FEATURES, size))
    path = tmp_path / f"lines.{kind}"
    path.write_text(text, encoding="utf-8")

    drawing = read_drawing(path, keys=("ground", "leaf"), piece_mm=size)
    again = build_lines(drawing.curves, drawing.feature, region=region, edge="plain")

    assert edges(again) == edges(network)
    assert (again.vertices, again.edges, again.cells) == (network.vertices, network.edges, network.cells)
    assert again.cut_mm == pytest.approx(network.cut_mm, abs=1e-3)
    assert "gap-closed" not in {finding.code for finding in drawing.findings}


@pytest.mark.slow
@pytest.mark.parametrize("name", CASES)
def test_groove_outlines_have_the_area_of_the_grooves(tmp_path: Path, name: str) -> None:
    """The drawn outlines, read back by another library, enclose the lines widened by the groove's half-width."""
    network, grooves, _ = case(name)
    document = ezdxf.read(io.StringIO(dxf_text(drawn_page(network, grooves, FEATURES, (60.0, 60.0)))))
    area = 0.0
    entity: Any
    for entity in document.modelspace().query('LWPOLYLINE[layer=="groove"]'):
        sides = np.array(entity.get_points("xyb"))
        xy = corners(Ring(xy_mm=sides[:, :2], bulge=sides[:, 2]), 1e-5)
        area += float(np.sum(xy[:, 0] * np.roll(xy[:, 1], -1) - np.roll(xy[:, 0], -1) * xy[:, 1])) / 2.0

    wide = []
    for edge in np.flatnonzero(network.cut):
        a, b = network.xy_mm[network.tail[edge]], network.xy_mm[network.head[edge]]
        ring = Ring(xy_mm=np.array([a, b]), bulge=np.array([network.bulge[edge], 0.0]))
        line = (
            shapely.LineString(np.vstack([corners(ring, 1e-5)[:-1], [b]]))
            if network.bulge[edge]
            else shapely.LineString([a, b])
        )
        wide.append(line.buffer(float(grooves.half_width_mm[edge]), quad_segs=64))
    assert area == pytest.approx(shapely.union_all(wide).area, rel=2e-4)


def test_the_land_is_drawn_cell_by_cell() -> None:
    """The closed polylines of the land enclose the land's area."""
    network, grooves, _ = case("asanoha")
    document = ezdxf.read(io.StringIO(dxf_text(drawn_page(network, grooves, FEATURES, (60.0, 60.0)))))
    lands = document.modelspace().query('LWPOLYLINE[layer=="land"]')

    area = 0.0
    entity: Any
    for entity in lands:
        sides = np.array(entity.get_points("xyb"))
        area += Polygon(corners(Ring(xy_mm=sides[:, :2], bulge=sides[:, 2]), 1e-5)).area
    assert len(lands) == int(grooves.islands.sum())
    assert area == pytest.approx(grooves.land_area_mm2.sum(), rel=1e-4)


def test_another_library_finds_the_file_sound_and_in_millimetres() -> None:
    """No faults in the audit; lines, arcs and layers as drawn; the limits are the page."""
    network, grooves, _ = case("shippo")
    document = ezdxf.read(io.StringIO(dxf_text(drawn_page(network, grooves, FEATURES, (60.0, 60.0)))))
    kinds = {entity.dxftype() for entity in document.modelspace()}

    assert not document.audit().has_errors
    assert document.header["$INSUNITS"] == 4
    assert tuple(document.header["$LIMMAX"])[:2] == (30.0, 30.0)
    assert {"ARC", "LWPOLYLINE"} <= kinds
    assert {"ground", "outline", "groove", "land"} <= {layer.dxf.name for layer in document.layers}


def test_the_svg_page_is_the_piece_in_millimetres() -> None:
    """Width and height in mm, user units the piece's coordinates, arcs as arc commands."""
    network, grooves, _ = case("shippo")
    text = svg_text(drawn_page(network, grooves, FEATURES, (60.0, 60.0)))

    assert 'width="60mm" height="60mm" viewBox="-30 -30 60 60"' in text
    assert text.count("A") > network.edges


def test_the_same_network_gives_the_same_bytes() -> None:
    """Nothing in the files depends on the clock or on chance."""
    network, grooves, _ = case("asanoha")

    assert svg_text(drawn_page(network, grooves, FEATURES, (60.0, 60.0))) == svg_text(
        drawn_page(network, grooves, FEATURES, (60.0, 60.0))
    )
    assert dxf_text(drawn_page(network, grooves, FEATURES, (60.0, 60.0))) == dxf_text(
        drawn_page(network, grooves, FEATURES, (60.0, 60.0))
    )


def test_layer_names_are_made_fit_for_both_formats(tmp_path: Path) -> None:
    """Names with signs that DXF does not take stay apart, letters of any script stay what they are; SVG has the signs escaped."""
    path = tmp_path / "named.svg"
    path.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="40mm" viewBox="0 0 40 40">'
        '<g id="a &lt;b&gt;"><path d="M 5 5 H 35"/></g><g id="a *b*"><path d="M 5 20 H 35"/></g>'
        '<g id="溝"><path d="M 5 30 H 35"/></g></svg>'
    )
    drawing = read_drawing(path, piece_mm=(40.0, 40.0))
    network = build_lines(
        drawing.curves, drawing.feature, region=rounded_rectangle(40.0, 40.0, 2.0), edge="plain"
    )
    grooves = measure(network, BIT, {0: 1.0, 1: 1.0, 2: 1.0})
    layers = [Feature(key=name, name=name, depth_mm=1.0) for name in drawing.layers]

    text = dxf_text(drawn_page(network, grooves, layers, (40.0, 40.0)))
    (tmp_path / "named.dxf").write_text(text, encoding="ascii")
    document, _ = recover.readfile(str(tmp_path / "named.dxf"))
    assert {"a _b_", "a _b__2", "溝"} <= {layer.dxf.name for layer in document.layers}
    assert '<g id="a &lt;b&gt;"' in svg_text(drawn_page(network, grooves, layers, (40.0, 40.0)))


@pytest.mark.slow
def test_footprint_outlines_keep_to_their_arcs() -> None:
    """No corner of a flattened groove outline is farther from the arcs drawn for it than a tenth of a micrometre."""
    network, grooves, _ = case("shippo")
    for ring in footprint(network, grooves)[:6]:
        drawn = with_arcs(ring)
        line = shapely.LinearRing(corners(drawn, 1e-5))

        assert float(shapely.distance(line, shapely.points(ring)).max()) <= 1e-4
        assert len(drawn.bulge) < len(ring) / 3


def test_the_outline_of_a_curved_taper_has_no_specks() -> None:
    """Along an arc that narrows no side is shorter than 5 µm, and the outline stays within 1 µm of the hulls' own."""
    arc = Line(start=(-20.0, 0.0), end=(20.0, 0.0), bulge=-1.0)
    piece = Region(
        outer=Ring(xy_mm=np.array([(-40, -40), (40, -40), (40, 40), (-40, 40)]) * 1.0, bulge=np.zeros(4))
    )
    network, share, _ = taper(build_lines(*rows([arc]), region=piece, edge="plain"), 15.0, piece)
    grooves = measure(network, BIT, {0: 1.0}, share)
    (drawn,) = drawn_page(network, grooves, FEATURES, (80.0, 80.0)).shapes["groove"]
    (exact,) = rings_of(outer_rings(network, grooves, closed_cells(network)))
    outline = shapely.LinearRing(corners(Ring(xy_mm=drawn[:, :2], bulge=drawn[:, 4]), 1e-5))

    assert shapely.length(shapely.linestrings(drawn[:, :4].reshape(-1, 2, 2))).min() > 0.005
    assert shapely.hausdorff_distance(outline, shapely.LinearRing(exact)) < 0.0011
