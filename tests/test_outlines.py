"""Every kind of outline from job to program: where lines end, frames, lines that run off, and what lies beyond the edge.

Distances are measured with shapely on the moves read back, against outlines drawn here.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from shapely import affinity

from small_job import job_from, make_program
from vcarve.job.records import Job
from vcarve.proofing import check_program
from vcarve.run import Made

SVG = """<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="60mm" viewBox="0 0 80 60">
<path d="M10 0 H70 A10 10 0 0 1 80 10 V50 A10 10 0 0 1 70 60 H10 A10 10 0 0 1 0 50 V10 A10 10 0 0 1 10 0 Z"/>
<circle cx="25" cy="30" r="8"/><rect x="50" y="20" width="12" height="20"/></svg>"""
BIT_DEG, DEPTH_MM = 60.0, 0.6
HALF_MM = DEPTH_MM * math.tan(math.radians(BIT_DEG / 2.0))


def dxf_text() -> str:
    """Return the same outline as a DXF drawing."""
    import io

    import ezdxf

    document = ezdxf.new("R2000")
    document.header["$INSUNITS"] = 4
    model = document.modelspace()
    bulge = math.tan(math.pi / 8.0)
    corners = [
        (10, 0, 0),
        (70, 0, bulge),
        (80, 10, 0),
        (80, 50, bulge),
        (70, 60, 0),
        (10, 60, bulge),
        (0, 50, 0),
    ]
    model.add_lwpolyline([*corners, (0, 10, bulge)], format="xyb", close=True)
    model.add_circle((25, 30), 8)
    model.add_lwpolyline([(50, 20), (62, 20), (62, 40), (50, 40)], close=True)
    out = io.StringIO()
    document.write(out)
    return out.getvalue()


def round_piece(width: float, height: float) -> shapely.Polygon:
    """Return an ellipse as a fine polygon."""
    return affinity.scale(shapely.Point(0, 0).buffer(1.0, quad_segs=1000), width / 2.0, height / 2.0)


def rounded(width: float, height: float, radius: float) -> shapely.Polygon:
    """Return a rounded rectangle as a fine polygon."""
    return shapely.box(
        -width / 2 + radius, -height / 2 + radius, width / 2 - radius, height / 2 - radius
    ).buffer(radius, quad_segs=1000)


def hexagon(width: float) -> shapely.Polygon:
    """Return a regular hexagon with a flat side at the front, as wide as given over its corners."""
    return shapely.Polygon(
        [(width / 2 * math.cos(k * math.pi / 3), width / 2 * math.sin(k * math.pi / 3)) for k in range(6)]
    )


WITH_HOLES: Any = (
    rounded(80, 60, 10)
    .difference(shapely.Point(-15, 0).buffer(8.0, quad_segs=1000))
    .difference(shapely.box(10, -10, 22, 10))
)
OUTLINES: dict[str, tuple[str, shapely.Polygon]] = {
    "rectangle": ("width: 80, height: 60", shapely.box(-40, -30, 40, 30)),
    "rounded": ("width: 80, height: 60, outline: {shape: rounded, radius: 12}", rounded(80, 60, 12)),
    "circle": ("width: 70, height: 70, outline: {shape: circle}", round_piece(70, 70)),
    "ellipse": ("width: 80, height: 60, outline: {shape: ellipse}", round_piece(80, 60)),
    "polygon": (
        f"width: 80, height: {40 * math.sqrt(3):.6f}, outline: {{shape: polygon, sides: 6}}",
        hexagon(80),
    ),
    "svg": ("width: 80, height: 60, outline: {shape: drawing, file: outline.svg}", WITH_HOLES),
    "dxf": ("width: 80, height: 60, outline: {shape: drawing, file: outline.dxf}", WITH_HOLES),
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the drawn outlines."""
    path = tmp_path_factory.mktemp("outlines")
    (path / "outline.svg").write_text(SVG, encoding="utf-8")
    (path / "outline.dxf").write_text(dxf_text(), encoding="utf-8")
    return path


def job_of(folder: Path, outline: str, pattern: str) -> Job:
    """Return a job on such a piece, its zero in the middle."""
    text = f"""
piece: {{{OUTLINES[outline][0]}, thickness: 9, wood: maple-sugar}}
pattern: {pattern}
groove: {{depth: {DEPTH_MM}}}
bit: {{angle: {BIT_DEG}, diameter: 3.175, shank: 3.175}}
machine: small-desktop
zero: {{xy: centre, z: top}}
"""
    return job_from(text, folder=str(folder))


def below(made: Made) -> shapely.MultiLineString:
    """Return what the text cuts, arcs as fine chords (from start, centre and sweep)."""
    moves = made.reading.moves
    level = (moves.start_mm[:, 2] < -1e-9) & (moves.end_mm[:, 2] < -1e-9) & (moves.length_mm > 1e-9)
    lines = []
    for m in np.flatnonzero(level):
        arm = moves.start_mm[m, :2] - moves.centre_mm[m, :2]
        sweep = float(moves.sweep_rad[m])
        if sweep == 0.0:
            lines.append(np.array([moves.start_mm[m, :2], moves.end_mm[m, :2]]))
            continue
        turn = np.linspace(0.0, sweep, max(int(abs(sweep) * 60), 8))
        spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        lines.append(moves.centre_mm[m, :2] + np.einsum("ijk,j->ki", spin, arm))
    return shapely.MultiLineString(lines)


def ends(made: Made) -> np.ndarray:
    """Return places where only one line to cut ends."""
    network = made.network
    degree = np.bincount(
        np.concatenate([network.tail[network.cut], network.head[network.cut]]), minlength=len(network.x_nm)
    )
    return network.xy_mm[degree == 1]


@pytest.mark.parametrize("outline", sorted(OUTLINES))
@pytest.mark.parametrize("name", ["ichimatsu", "shippo", "asanoha"])
def test_lines_end_at_the_outline(folder: Path, outline: str, name: str, rs274: Any) -> None:
    """Nothing is cut beyond the outline or in a hole, and all of the piece that the pattern crosses is reached."""
    made = make_program(job_of(folder, outline, f"{{name: {name}, pitch: 13, edge: plain}}"))
    shape, cut = OUTLINES[outline][1], below(made)

    assert rs274(made.text).accepted
    assert cut.difference(shape.buffer(0.002)).length < 1e-6
    assert shapely.distance(shapely.points(ends(made)), shape.boundary).max(initial=0.0) < 0.002
    assert made.network.cells > 20
    cells = made.layout.grooves.land_area_mm2.sum()
    grooves = shape.intersection(cut.buffer(HALF_MM, quad_segs=16))
    assert cells == pytest.approx(shape.area - grooves.area, abs=0.002 * cut.length)


@pytest.mark.parametrize("outline", sorted(OUTLINES))
def test_lines_end_at_the_margin(folder: Path, outline: str) -> None:
    """With a margin every end lies that far inside the outline, from holes too."""
    made = make_program(job_of(folder, outline, "{name: asanoha, pitch: 13, margin: 2.5, edge: plain}"))
    shape = OUTLINES[outline][1]

    assert shapely.distance(below(made), shape.boundary) == pytest.approx(2.5, abs=0.002)
    away = np.atleast_1d(shapely.distance(shapely.points(ends(made)), shape.boundary))
    assert len(away)
    assert away == pytest.approx(2.5, abs=0.003)


@pytest.mark.parametrize("edge", ["groove", "plain"])
@pytest.mark.parametrize("outline", sorted(OUTLINES))
def test_a_frame_has_its_own_depth(folder: Path, outline: str, edge: str) -> None:
    """The border line runs round at its distance, at its own depth, and is cut once, on the margin and on lines too."""
    pattern = f"{{name: ichimatsu, pitch: 10, margin: 2, edge: {edge}, frame: [{{distance: 2, depth: 0.9}}]}}"
    made = make_program(job_of(folder, outline, pattern))
    shape = OUTLINES[outline][1]
    border = shape.buffer(-2.0, quad_segs=500).boundary  # corners that point inwards are rounded
    moves = made.reading.moves
    deep = np.flatnonzero((moves.end_mm[:, 2] < -0.9 + 1e-9) & (moves.start_mm[:, 2] < -0.9 + 1e-9))

    places = shapely.points(moves.end_mm[deep, :2])
    assert shapely.distance(places, border).max() < 0.002
    frame = made.network.cut & (made.layout.grooves.depth_mm == 0.9)
    assert made.network.length_mm[frame].sum() == pytest.approx(border.length, rel=1e-4)
    assert {made.layout.features[index].key for index in made.network.feature[frame].tolist()} == {"frame-1"}


@pytest.mark.parametrize("outline", sorted(OUTLINES))
def test_lines_run_off_by_half_a_groove(folder: Path, outline: str, rs274: Any) -> None:
    """Lines go on half a groove's width beyond the outline and no further, so that a groove is whole where it leaves."""
    made = make_program(job_of(folder, outline, "{name: asanoha, pitch: 13, ends: run-off}"))
    shape, cut = OUTLINES[outline][1], below(made)

    assert rs274(made.text).accepted
    assert cut.difference(shape.buffer(HALF_MM + 0.002, quad_segs=64)).length < 1e-6
    away = np.atleast_1d(shapely.distance(shapely.points(ends(made)), shape))
    assert len(away)
    assert away == pytest.approx(HALF_MM, abs=0.002)
    # All the pattern within the piece is there: the same lines as without running off, on the piece.
    plain = below(make_program(job_of(folder, outline, "{name: asanoha, pitch: 13}")))
    inside = shape.buffer(-0.01)
    assert cut.intersection(inside).difference(plain.buffer(0.003, quad_segs=1)).length < 0.01
    assert plain.intersection(inside).difference(cut.buffer(0.003, quad_segs=1)).length < 0.01


@pytest.mark.parametrize("outline", sorted(OUTLINES))
def test_the_piece_closes_its_cells_where_lines_run_off(folder: Path, outline: str) -> None:
    """Cells end at the piece's edge as without running off: as many, with the same land less what the longer lines take."""
    off = make_program(job_of(folder, outline, "{name: asanoha, pitch: 13, ends: run-off, edge: plain}"))
    plain = make_program(job_of(folder, outline, "{name: asanoha, pitch: 13, edge: plain}"))
    shape = OUTLINES[outline][1]

    assert off.network.cells == plain.network.cells
    left = shape.difference(below(off).buffer(HALF_MM, quad_segs=16)).area
    assert off.layout.grooves.land_area_mm2.sum() == pytest.approx(left, abs=0.002 * off.network.cut_mm)


def test_lines_on_the_edge_itself_where_lines_run_off(folder: Path) -> None:
    """Grooves on the piece's edge are cut, run off too, or are left with all that would run off them."""
    half = HALF_MM
    whole = 5 * (60.0 + 2 * half) + 4 * (80.0 + 2 * half)
    inner = 3 * (60.0 + 2 * half) + 2 * (80.0 + 2 * half)
    for edge, wanted, cells in (("groove", whole, 12), ("plain", inner, 12)):
        made = make_program(
            job_of(
                folder,
                "rectangle",
                f"{{name: ichimatsu, across: 4, ends: run-off, edge: {edge}}}",
            )
        )
        assert made.network.cut_mm == pytest.approx(wanted, abs=1e-4)
        assert made.network.cells == cells
        assert made.layout.grooves.vanished == 0


@pytest.mark.parametrize("outline", ["rectangle", "circle", "svg"])
def test_a_cut_beyond_the_outline_is_found(folder: Path, outline: str) -> None:
    """A program for a larger piece is refused on a smaller one wherever it leaves that one's outline, corners and holes too."""
    job = job_of(folder, outline, "{name: ichimatsu, pitch: 13}")
    x, y = {"rectangle": (41.0, 0.0), "circle": (30.0, 30.0), "svg": (-15.0, 0.0)}[outline]
    text = f"G21 G90 G94 G17\nS12000 M3\nG4 P3\nG0 Z5\nG0 X{x} Y{y}\nG1 Z-0.6 F200\nG0 Z5\nM5\nM2\n"
    run = check_program(text, file="other.nc", machine=job.machine, job=job)

    assert "outside-piece" in {one.code for one in run.findings}


def test_a_cut_across_a_hole_is_found(folder: Path) -> None:
    """Both ends of a move on the piece do not make it one on the piece."""
    job = job_of(folder, "svg", "{name: ichimatsu, pitch: 13}")
    text = "G21 G90 G94 G17\nS12000 M3\nG4 P3\nG0 Z5\nG0 X-30 Y0\nG1 Z-0.6 F200\nX0\nG0 Z5\nM5\nM2\n"
    run = check_program(text, file="other.nc", machine=job.machine, job=job)

    assert [one.line for one in run.findings if one.code == "outside-piece"] == [7]
