"""Cautions about patterns that read well but were surely meant otherwise."""

import pytest

from drawn_lines import pattern_of
from vcarve.pattern.inspect import inspect

HEAD = """\
key: own
name: Own
lattice: {kind: square, a1: [1, 0], a2: [0, 1]}
group: %s
unit: side
pitch-range: [10 mm, 20 mm]
lines:
"""
SQUARE = "  - {path: [[0, 0], [1, 0], [1, 1]]}\n"


def cautions(lines, group="p4m"):
    """Return the cautions about a square pattern given in full."""
    return inspect(pattern_of(HEAD % group + lines))


def test_sound_pattern():
    """A closed square grid needs no caution."""
    assert cautions(SQUARE) == ()


@pytest.mark.parametrize(
    ("line", "gap"),
    [
        ("{from: [0, 0], to: [1, 0.9995]}", 0.0005),  # two ends
        ("{from: [0.3, 0], to: [0.3, 0.999]}", 0.001),  # an end and a straight line across the cell's border
        ("{centre: [0.5, 0], radius: 0.25, from-deg: 0.1, to-deg: 180}", 0.25 * 0.0017453),  # an arc's end
    ],
)
def test_gap(line, gap):
    """An end that stops a hair short of another line is told with its size on the piece."""
    found = [caution for caution in cautions(SQUARE + f"  - {line}\n", "p1") if caution.code == "gap"]

    assert len(found) == 1
    assert f"stops {gap:.2g} of the unit short" in found[0].sentence
    assert f"{10 * gap:.2g} to {20 * gap:.2g} mm on the piece" in found[0].sentence
    assert found[0].severity == "caution"


def test_end_beside_an_arc():
    """An end that nearly touches the inside of an arc is told too."""
    lines = "  - {centre: [0.5, 0.5], radius: 0.25, from-deg: 0, to-deg: 360}\n  - {from: [0.5, 0], to: [0.5, 0.2495]}\n"

    assert [caution.code for caution in cautions(lines, "pm")] == ["gap"]


@pytest.mark.parametrize("gap", ["0.01", "1e-12"])
def test_no_gap(gap):
    """A gap one can see is meant, and one below rounding is none."""
    line = f"  - {{from: [0.3, 0], to: [0.3, 1 - {float(gap):.15f}]}}\n"

    assert "gap" not in {caution.code for caution in cautions(SQUARE + line, "p1")}


def test_other_group():
    """Lines with more symmetry than the file says are told."""
    (found,) = cautions(SQUARE, "p2")

    assert found.code == "group"
    assert "says the symmetry group is p2, but the lines have p4m" in found.sentence


@pytest.mark.parametrize(
    ("lines", "group"),
    [
        ("  - {path: [[0, 0], [0.3, 0.1], [0.4, 0.3]]}\n", "p1"),
        ("  - {path: [[0, 0], [0.3, 0.1], [0.4, 0.3]]}\n  - {path: [[0, 0], [-0.3, -0.1], [-0.4, -0.3]]}\n", "p2"),
        ("  - {path: [[0, 0], [0.3, 0.1], [0.6, 0]]}\n", "pm"),
        ("  - {path: [[0, 0], [0.5, 0.2], [1, 0]]}\n", "pmg"),
        ("  - {path: [[0, 0], [0.2, 0.1]]}\n  - {path: [[0.5, 0], [0.7, -0.1]]}\n  - {from: [0, 0], to: [0.1, 0.3]}\n"
         "  - {from: [0.5, 0], to: [0.6, -0.3]}\n", "pg"),
        ("  - {path: [[0, 0], [0.25, 0.1], [0.75, -0.1], [1, 0]]}\n", "pmg"),
        ("  - {path: [[-0.2, -0.1], [0.2, -0.1], [0.2, 0.1], [-0.2, 0.1], [-0.2, -0.1]]}\n", "pmm"),
        ("  - {path: [[0.2, 0], [0, 0.1], [-0.2, 0], [0, -0.1], [0.2, 0]]}\n"
         "  - {path: [[0.7, 0.5], [0.5, 0.6], [0.3, 0.5], [0.5, 0.4], [0.7, 0.5]]}\n", "repeat"),
    ],
)  # fmt: skip
def test_group_found(lines, group):
    """The group is found for the groups of oblique, rectangular and centred kind, each drawn by hand."""
    found = cautions(lines, "p1")

    if group == "p1":
        assert found == ()
    elif group == "repeat":
        assert [caution.code for caution in found] == ["repeat"]
    else:
        assert [caution.sentence.endswith(f"the lines have {group}") for caution in found] == [True]
