"""The outline of all grooves at the surface, where rings are not as a library would have them."""

from __future__ import annotations

from typing import Any

import pytest
import shapely

from land_rings import footprint as whole_footprint
from vcarve.groove import footprint
from vcarve.groove.model import Grooves
from vcarve.groove.outline import Path, Strokes
from vcarve.groove.width import VBit
from vcarve.network.build import build
from vcarve.pattern.catalogue import pattern
from vcarve.plane.region import rectangle

# A ring that crosses itself in the middle of a square of 1 mm: two triangles, of a quarter of the square each.
BOW: Path = [[0, 0], [10**6, 10**6], [10**6, 0], [0, 10**6]]
BOX: Path = [[300_000, -200_000], [900_000, -200_000], [900_000, 700_000], [300_000, 700_000]]


def test_a_ring_that_crosses_itself_is_no_obstacle() -> None:
    """The union of such a ring with others is that of what it surrounds."""
    halves: list[Path] = [
        [[0, 0], [500_000, 500_000], [0, 10**6]],
        [[10**6, 0], [10**6, 10**6], [500_000, 500_000]],
    ]
    whole = shapely.union_all([shapely.Polygon(ring) for ring in (*halves, BOX)])
    united = footprint._united([shapely.Polygon(BOW), shapely.Polygon(BOX)])

    assert united.is_valid
    assert united.symmetric_difference(whole).area < 1.0
    assert footprint._united([shapely.Polygon(BOW)]).area == pytest.approx(0.5e12)


def test_a_footprint_with_such_a_ring(monkeypatch: pytest.MonkeyPatch) -> None:
    """A drawing of the grooves' outline is made all the same where one of its rings comes out crossed."""
    from vcarve.groove.land import measure

    network = build(pattern("hishi"), region=rectangle(20.0, 20.0), pitch_mm=6.0)
    grooves: Grooves = measure(network, VBit(angle_deg=60.0), {0: 0.5, 1: 0.5, 2: 0.5, 3: 0.5})
    joined = footprint._joined

    def crossed(strokes: Strokes, edges: Any) -> list[Path]:
        return [*joined(strokes, edges), BOW, BOX]

    monkeypatch.setattr(footprint, "_joined", crossed)
    monkeypatch.setattr(footprint, "group", lambda rings: [[ring] for ring in rings])
    found = whole_footprint(network, grooves)

    assert max(ring[:, 1].max() for ring in found) > 10 * 10**6  # the grooves at the back edge
