"""Arcs found again in polygons."""

from __future__ import annotations

import math

import numpy as np
import pytest

from vcarve.plane.fit import with_arcs


@pytest.mark.parametrize("hand", [1.0, -1.0])
def test_arcs_are_found_again_in_their_chords(hand: float) -> None:
    """A half-round slot flattened into fine chords, rounded to nanometres, comes back as two sides and two half circles."""
    angles = np.linspace(-math.pi / 2.0, math.pi / 2.0, 90)
    cap = np.column_stack([np.cos(angles), np.sin(angles)]) * 3.0
    away = np.array([10.0, 0.0])
    ring = np.round(np.vstack([cap + away, -cap - away]), 6)
    ring = ring if hand > 0.0 else ring[::-1].copy()

    found = with_arcs(ring)

    assert sorted(found.bulge * hand) == pytest.approx([0.0, 0.0, 1.0, 1.0], abs=1e-5)


def test_polygons_without_arcs_stay_as_they_are() -> None:
    """A square and a regular polygon of twenty-four sides lie on circles, yet their sides are straight."""
    angles = 2.0 * np.pi * np.arange(24) / 24
    for ring in (
        np.array([(0.0, 0.0), (5.0, 0.0), (5.0, 5.0), (0.0, 5.0)]),
        np.column_stack([np.cos(angles), np.sin(angles)]) * 20.0,
    ):
        assert with_arcs(ring).bulge.tolist() == [0.0] * len(ring)
