"""The plan's picture: true to scale, told by shapes and words, safe and the same every time."""

from __future__ import annotations

import io
import math
import re
from dataclasses import replace
from itertools import pairwise
from typing import Any, get_args
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely
import svgelements

from drawn_lines import Line, rows
from small_job import job_from, with_job
from small_network import build, build_lines
from vcarve.errors import Finding
from vcarve.groove.land import measure
from vcarve.groove.model import Grooves
from vcarve.groove.width import VBit
from vcarve.job.records import Job
from vcarve.job.sections import Zero, ZeroPlace
from vcarve.mount.flat import mount_of
from vcarve.network.model import Network
from vcarve.pattern.model import pattern
from vcarve.pipeline import plan_program
from vcarve.plane.region import rectangle
from vcarve.run import Made
from vcarve.view.drawing import groove_layers, plan_svg
from vcarve.view.marks import MOST_NUMBERS, pass_marks
from vcarve.view.pattern import pattern_svg
from vcarve.view.walls import walls

SVG = "{http://www.w3.org/2000/svg}"
PIECE_MM = np.array([100.0, 80.0])
TITLE = 'trivet <script>alert("1")</script> & more'


def job_of(name: str = "kaku-asanoha", title: str = TITLE) -> Job:
    """Return a job with grooves of two depths on a tile of 100 by 80 mm."""
    return job_from(
        f"""
piece: {{width: 100, height: 80, thickness: 12, wood: maple-sugar}}
title: {title!r}
pattern: {{name: {name}, pitch: 40}}
groove: {{ground: 2.0, leaf: 1.25}}
bit: {{angle: 90, diameter: 6.35, shank: 3.175}}
machine: small-desktop
clamps: [{{x: 0, y: 30, width: 8, height: 12, above: 10}}]
"""
    )


def made(name: str = "kaku-asanoha", title: str = TITLE) -> Made:
    """Return a job's run with a plan that cuts every edge as a pass of its own, and without findings."""
    run = plan_program(job_of(name, title))
    edges = np.arange(len(run.cuts.tail))
    plan = replace(
        run.plan,
        half_edge=2 * edges,
        begin=run.cuts.tail.copy(),
        end=run.cuts.head.copy(),
        recut=np.zeros(len(edges), dtype=bool),
        pass_start=np.arange(len(edges) + 1),
    )
    return replace(run, plan=plan, findings=())


def test_the_picture_is_true_to_scale() -> None:
    """Its size in millimetres is its view box, and the piece in it has the piece's size."""
    root = ElementTree.fromstring(plan_svg(made()))
    box = [float(value) for value in root.attrib["viewBox"].split()]
    piece = root.find(f"{SVG}path[@class='wood']")
    assert piece is not None
    outline = svgelements.Path(piece.attrib["d"]).bbox()

    assert (root.attrib["width"], root.attrib["height"]) == (f"{box[2]:g}mm", f"{box[3]:g}mm")
    assert outline == pytest.approx((-50.0, -40.0, 50.0, 40.0))


def test_grooves_are_drawn_once_at_their_true_width() -> None:
    """Strokes as wide as the grooves (twice their depth at 90 degrees) cover the whole length to cut."""
    run = made()
    root = ElementTree.fromstring(plan_svg(run))
    floors = [
        path
        for path in root.iter(f"{SVG}path")
        if path.get("class") == "band floor" and len(path.attrib["d"]) > 40
    ]
    length = sum(svgelements.Path(path.attrib["d"]).length() for path in floors)

    assert sorted(float(path.attrib["stroke-width"]) for path in floors) == [2.5, 4.0]
    assert length == pytest.approx(run.network.cut_mm, rel=1e-4)


def test_everything_is_said_in_words_and_shapes() -> None:
    """Title and description for screen readers, passes numbered, dimensions with units, clamps and zero named."""
    run = made()
    finding = Finding("travel", "The bit leaves the travel.", at_mm=(10.0, 10.0))
    root = ElementTree.fromstring(plan_svg(replace(run, findings=(finding,))))
    words = ["".join(node.itertext()) for node in root.iter(f"{SVG}text")]
    description = root.findtext(f"{SVG}desc")

    assert root.attrib["role"] == "img"
    assert root.findtext(f"{SVG}title") == TITLE
    assert description is not None
    assert "The bit leaves the travel." in description
    assert re.search(
        r"2.5 mm wide\..* lines: .* each cut once.*passes: [0-9]+ passes.*of rapids\. The bit", description
    )
    assert re.search(r"groove, ground: [0-9.]+ mm deep, 4 mm wide\. groove, leaf: ", description)
    assert {"1", str(run.plan.passes)} <= set(words)
    assert {"100\u00a0mm", "80\u00a0mm", "clamp", "A", "X", "Y"} <= set(words)
    assert {"4\u00a0mm wide", "2.5\u00a0mm wide"} <= set(re.findall(r"[\d.]+\xa0mm wide", " ".join(words)))


@pytest.mark.parametrize("wide_mm", [30.0, 100.0, 180.0])
def test_words_under_the_picture_fill_its_width_and_figures_keep_their_units(wide_mm: float) -> None:
    """In a usual face a line ends where the next word has no room, and never in a word or between a number and its unit."""
    sentence = (
        "The clamp at X 40 mm, Y -7.5 mm stands 10 mm above the piece; 5 mm at 600 mm/min does not clear it. "
        * 3
    )
    run = made()
    piece = run.job.piece.model_copy(update={"width_mm": wide_mm, "height_mm": 100.0})
    run = replace(with_job(run, piece=piece), findings=(Finding("clamp", sentence, at_mm=(0.0, 0.0)),))
    root = ElementTree.fromstring(plan_svg(run))
    words = ["".join(node.itertext()) for node in root.iter(f"{SVG}text")]
    first = next(index for index, word in enumerate(words) if word.startswith("A, must not be cut"))
    lines = words[first:]
    wide = float(root.attrib["viewBox"].split()[2]) / max(wide_mm, 100.0) * 100.0
    room = (wide - 8.0) / (0.52 * 2.5)  # signs as wide as the sans faces most machines have

    assert len(lines) > 2
    for line, after in pairwise(lines):
        assert len(line) <= room < len(line) + 1 + len(after.split(" ")[0]) + 1
        assert not re.search(r"[0-9]$|\b[XYZ]$|-$", line)


def test_all_signs_are_explained_in_the_picture_of_a_narrow_piece() -> None:
    """What the last sign means ends within the picture, in a face whose signs are half as wide as they are high."""
    run = made()
    piece = run.job.piece.model_copy(update={"width_mm": 30.0, "height_mm": 100.0})
    root = ElementTree.fromstring(plan_svg(with_job(run, piece=piece)))
    left, _, wide, _ = (float(value) for value in root.attrib["viewBox"].split())
    last = next(node for node in root.iter(f"{SVG}text") if node.text == "narrowest land")

    assert float(last.attrib["x"]) + 0.52 * 2.5 * len("narrowest land") <= left + wide - 2.0


@pytest.mark.parametrize("turn", [0.0, 30.0, -30.0])
@pytest.mark.parametrize("xy", get_args(ZeroPlace))
def test_the_zero_s_arrows_are_in_the_picture(xy: ZeroPlace, turn: float) -> None:
    """Wherever zero is and however the piece lies, the names of X and Y are seen whole."""
    run = made()
    text = plan_svg(with_job(run, zero=Zero(xy=xy, turn_deg=turn)))
    drawn: Any = svgelements.SVG.parse(io.StringIO(text), reify=True, ppi=25.4)

    badges = [
        shape.bbox()
        for shape in drawn.select(lambda e: isinstance(e, svgelements.Circle))
        if shape.values.get("stroke-opacity") == "0"
    ]
    assert len(badges) == 2
    for x0, y0, x1, y1 in badges:
        assert 0.0 <= x0 < x1 <= drawn.width
        assert 0.0 <= y0 < y1 <= drawn.height


def test_every_place_of_a_finding_is_marked_and_the_narrowest_land_stays_in_sight() -> None:
    """Twelve weak islands have twelve marks with one letter; the ring on the narrowest land lies over them, on one of paper."""
    run = made()
    at = run.layout.grooves.narrowest_at_mm
    assert at is not None
    places = [at, *((4.0 * k, 0.0) for k in range(11))]
    islands = tuple(Finding("weak-island", "Weak.", at_mm=place) for place in places)
    text = plan_svg(replace(run, findings=islands))

    assert text.count(">A</text>") == 12
    assert text.rindex('class="land"', 0, text.index(">groove</text>")) > text.rindex(">A</text>")
    assert text.count('class="land back"') == 1


def test_a_clamp_s_name_is_clear_of_its_cross_and_of_marks() -> None:
    """The word stands beside the clamp, where neither its diagonals nor a mark on it can hide it."""
    run = made()
    finding = Finding("clamp", "The bit runs into the clamp.", at_mm=(-46.0, -4.0))
    root = ElementTree.fromstring(plan_svg(replace(run, findings=(finding,))))
    word = next(node for node in root.iter(f"{SVG}text") if node.text == "clamp")
    texts = [node.text for node in root.iter(f"{SVG}text")]

    # The clamp lies from X -50 to -42 and from Y -10 to 2; Y is down in the picture.
    assert not -2.0 < float(word.attrib["y"]) < 10.0 + 1.0
    assert texts.index("clamp") > texts.index("A")


@pytest.mark.parametrize("turn_deg", [0.0, 30.0])
@pytest.mark.parametrize("xy", get_args(ZeroPlace))
def test_numbers_of_passes_keep_clear_of_the_zero_s_names(xy: ZeroPlace, turn_deg: float) -> None:
    """Wherever zero is, no number of a pass stands on the names of X and Y, 8.7 units from it."""
    job = job_of()
    text = plan_svg(with_job(made(), zero=Zero(xy=xy, turn_deg=turn_deg)))
    found = re.findall(r'<circle class="badge" cx="([-\d.]+)" cy="([-\d.]+)" r="([\d.]+)"/><text', text)
    x, y, r = np.array(found, dtype=float).T
    zero = np.array(mount_of(job.model_copy(update={"zero": Zero(xy=xy)})).zero_mm)
    turn = math.radians(turn_deg)
    for way in ((math.cos(turn), -math.sin(turn)), (math.sin(turn), math.cos(turn))):
        name = zero + 8.7 * np.array(way)
        assert np.hypot(x - name[0], -y - name[1]).min() > 1.3 + r.max()


def test_of_many_passes_only_round_numbers_are_written() -> None:
    """Every pass keeps its arrow, but numbers thin out: first, last and of every n-th for a round n those with room."""
    run = made("goma")
    passes = run.plan.passes
    drawn = "".join(
        pass_marks(run.cuts, run.plan, 1.0, np.zeros(2), np.array([100.0, 80.0]), 1.0, np.zeros((0, 2)))
    )
    numbers = [int(n) for n in re.findall(r"<text[^>]*>(\d+)</text>", drawn)]
    badges = re.findall(r'<circle class="badge" cx="([-\d.]+)" cy="([-\d.]+)" r="([\d.]+)"', drawn)
    x, y, r = np.array(badges, dtype=float).T
    apart = np.hypot(x[:, None] - x, y[:, None] - y) + 1e9 * np.eye(len(x))

    assert apart.min() > 2.0 * r[0]
    assert passes > MOST_NUMBERS
    assert len(numbers) <= MOST_NUMBERS + 2
    assert (numbers[0], numbers[-1]) == (1, passes)
    assert math.gcd(*numbers[1:-1]) in {2, 5, 10, 20, 50}


def test_moves_in_the_air_are_those_of_the_program() -> None:
    """What is drawn in the air is as long as the plan says: to the first pass and from pass to pass, not back from the last."""
    run = plan_program(job_of())
    drawn = "".join(pass_marks(run.cuts, run.plan, 1.0, -0.5 * PIECE_MM, PIECE_MM, 1.0, np.zeros((0, 2))))
    found = re.search(r'class="flight" d="([^"]*)"', drawn)
    assert found is not None
    ends = np.array(re.findall(r"M(\S+) (\S+)L(\S+) ([^M]+)", found[1]), dtype=float)

    assert len(ends) == run.plan.passes > 1
    assert np.hypot(*(ends[:, :2] - ends[:, 2:]).T).sum() == pytest.approx(run.plan.rapid_mm, abs=0.02)


@pytest.mark.parametrize("length", [12, 60, 120])
def test_a_long_title_is_set_smaller(length: int) -> None:
    """A title as long as a job may say stays in the picture, in a face whose signs are half as wide as they are high."""
    root = ElementTree.fromstring(plan_svg(made(title="n" * length)))
    title = next(node for node in root.iter(f"{SVG}text") if node.text == "n" * length)
    style = re.search(r"font-size:([\d.]+)px", title.get("style", ""))
    assert style is not None
    left, _, wide, _ = (float(value) for value in root.attrib["viewBox"].split())

    assert float(title.attrib["x"]) + 0.5 * float(style[1]) * length <= left + wide - 3.0


def test_text_of_the_job_stays_text() -> None:
    """A title with markup is shown as it was written and becomes no element."""
    text = plan_svg(made())

    assert "<script" not in text
    assert "&lt;script&gt;" in text
    assert not re.search(r"(href|src)=", text)


def test_the_same_plan_gives_the_same_text_with_a_dark_theme() -> None:
    """Deterministic to the byte; a dark variant is part of it."""
    text = plan_svg(made())

    assert text == plan_svg(made())
    assert "@media(prefers-color-scheme:dark)" in text


def test_no_passes_and_no_title_still_make_a_picture() -> None:
    """A plan without passes draws the piece and nothing in the air."""
    run = made(title="")
    empty = replace(
        run.plan,
        half_edge=np.zeros(0, dtype=np.int64),
        begin=np.zeros(0, dtype=np.int64),
        end=np.zeros(0, dtype=np.int64),
        recut=np.zeros(0, dtype=bool),
        pass_start=np.zeros(1, dtype=np.int64),
    )
    root = ElementTree.fromstring(plan_svg(replace(run, plan=empty)))

    assert not [path for path in root.iter(f"{SVG}path") if "flight" in path.get("class", "")]


@pytest.mark.parametrize(("ground", "leaf"), [(1.5, 1.5), (1.5, 0.9)])
def test_walls_of_convex_cells_cover_the_grooves_exactly(ground: float, leaf: float) -> None:
    """Between the lines and the land of a whole tile there are walls, once: their areas add up to the rest."""
    network = build(pattern("kaku-asanoha"), region=rectangle(100.0, 100.0), pitch_mm=50.0)
    grooves = measure(network, VBit(angle_deg=90.0), {0: ground, 1: leaf, 2: ground, 3: ground})
    found = walls(network, grooves)
    areas = shapely.area(shapely.polygons(found.corner_mm))

    assert areas.sum() == pytest.approx(100.0**2 - grooves.land_area_mm2.sum(), abs=0.01)


def test_lines_that_end_at_a_margin_have_round_ends() -> None:
    """A line ending askew at an outline that is not cut has walls all round it, and none beyond its half-width."""
    lines = [Line(start=(-60.0, -20.0), end=(60.0, 20.0))]
    network = build_lines(*rows(lines), region=rectangle(60.0, 60.0), edge="plain")
    grooves = measure(network, VBit(angle_deg=90.0), {0: 1.5})
    found = walls(network, grooves)
    ends = network.xy_mm[[network.tail[network.cut][0], network.head[network.cut][0]]]
    round_it = shapely.LineString(ends).buffer(1.5, quad_segs=64)
    joined = shapely.union_all(shapely.make_valid(shapely.polygons(found.corner_mm)))

    assert joined.difference(round_it.buffer(0.001)).area < 1e-6
    assert joined.area == pytest.approx(round_it.area, rel=0.005)


def tapered() -> tuple[Network, Grooves, shapely.Polygon]:
    """Return a square of 30 mm cut 2 mm deep, a line of 10 mm from the middle of a side to a point, and what that line covers."""
    corners = [(-15.0, -15.0), (15.0, -15.0), (15.0, 15.0), (-15.0, 15.0)]
    ends = [*zip(corners, [*corners[1:], corners[0]], strict=True), ((0.0, -15.0), (0.0, -5.0))]
    network = build_lines(
        *rows([Line(start=a, end=b) for a, b in ends]), region=rectangle(40.0, 40.0), edge="plain"
    )
    line = np.flatnonzero(
        (network.xy_mm[:, 0] == 0.0)[[network.tail, network.head]].all(axis=0) & network.cut
    )
    share = np.ones((2, len(network.tail)))
    share[(network.xy_mm[[network.tail[line], network.head[line]], 1] == -5.0).ravel(), line] = 0.0
    round_it = shapely.Point(0.0, -15.0).buffer(2.0, quad_segs=64).exterior.coords
    hull = shapely.MultiPoint([*round_it, (0.0, -5.0)]).convex_hull
    grooves = measure(network, VBit(angle_deg=90.0), {0: 2.0}, share)
    return network, grooves, shapely.Polygon(shapely.get_coordinates(hull))


def test_the_walls_of_a_line_that_tapers_end_in_its_point() -> None:
    """In the square there are walls on the grooves and nowhere else, the tapering one's up to its point."""
    network, grooves, hull = tapered()
    found = walls(network, grooves)
    joined = shapely.union_all(shapely.make_valid(shapely.polygons(found.corner_mm)))
    square = shapely.box(-13.0, -13.0, 13.0, 13.0)

    assert shapely.intersection(joined, square).difference(hull.buffer(0.001)).area < 1e-6
    assert shapely.intersection(hull, square).difference(joined.buffer(0.001)).area < 0.01


def test_walls_of_a_taper_face_out_askew() -> None:
    """Narrowing by 0.2 mm to either side for each mm, a wall leans over to the point by asin(0.2)."""
    network, grooves, _ = tapered()
    found = walls(network, grooves)
    slope = np.flatnonzero(np.ptp(grooves.ends_depth_mm, axis=0) > 0.0)
    sides = found.toward[np.isin(found.edge, slope) & (np.abs(found.toward[:, 0]) > 0.9)]

    assert np.abs(sides[:, 1]).max() == pytest.approx(0.2, abs=1e-9)


def test_a_taper_is_drawn_as_a_slim_shape_to_its_point() -> None:
    """The floor of a groove that narrows is filled up to the line's end, and as wide as the groove where it begins."""
    network, grooves, hull = tapered()
    layers = "".join(groove_layers(network, grooves, 90.0, 0.0))
    root = ElementTree.fromstring(f"<svg>{layers}</svg>")
    (slim,) = [one for one in root.iter("path") if one.get("class") == "slim floor"]
    left, top, right, bottom = svgelements.Path(slim.attrib["d"]).bbox()
    wide, _, _, far = hull.bounds

    assert top == pytest.approx(5.0)  # Y points down
    assert (left, right) == pytest.approx((-2.0, 2.0), abs=0.05)
    assert bottom == pytest.approx(15.0, abs=0.5)
    assert (wide, far) == pytest.approx((-2.0, -5.0), abs=0.01)


@pytest.mark.parametrize("name", ["izutsu-tsunagi", "shippo", "masu-tsunagi"])
def test_walls_stand_beside_their_groove(name: str) -> None:
    """No wall reaches farther from its groove's line than twice the half-width, loose ends and arcs included."""
    run = made(name)
    network, grooves = run.network, run.layout.grooves
    found = walls(network, grooves)
    chord = network.chord_mm[found.edge] * np.abs(network.bulge[found.edge])
    a, b = network.xy_mm[network.tail[found.edge]], network.xy_mm[network.head[found.edge]]
    lines = shapely.linestrings(np.stack([a, b], axis=1))
    reach = 2.0 * grooves.half_width_mm.max() + chord
    far = np.max([shapely.distance(shapely.points(found.corner_mm[:, i]), lines) for i in range(6)], axis=0)

    assert np.isfinite(found.corner_mm).all()
    assert np.hypot(found.toward[:, 0], found.toward[:, 1]) == pytest.approx(np.ones(len(found.edge)))
    assert (far <= reach).all()


def test_pattern_picture_draws_ground_heavier_than_leaf() -> None:
    """A pattern's picture has both kinds of lines once, ground in the heavier stroke, arcs as arcs."""
    network = made().network
    root = ElementTree.fromstring(pattern_svg(network, title="hemp leaf"))
    paths = {path.attrib["class"]: path for path in root.iter(f"{SVG}path")}
    length = sum(svgelements.Path(paths[kind].attrib["d"]).length() for kind in ("ground", "leaf"))

    assert float(paths["ground"].attrib["stroke-width"]) > float(paths["leaf"].attrib["stroke-width"])
    assert length == pytest.approx(network.cut_mm, rel=1e-4)


def test_arcs_keep_their_side_and_length() -> None:
    """Read by another library, the arcs of a picture are as long as the network's and stay on the piece."""
    network = build(pattern("shippo"), region=rectangle(60.0, 60.0), pitch_mm=20.0, edge="plain")
    drawing = svgelements.SVG.parse(io.StringIO(pattern_svg(network, title="seven treasures", inline=True)))
    arcs = [
        shape
        for shape in drawing.elements()
        if isinstance(shape, svgelements.Path) and shape.values["class"] != "rim"
    ]
    box = arcs[0].bbox()

    assert sum(path.length() for path in arcs) == pytest.approx(network.cut_mm, rel=1e-3)
    assert box[2] - box[0] == pytest.approx(60.0, abs=0.01)
