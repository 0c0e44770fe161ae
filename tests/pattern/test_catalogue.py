"""The catalogue against figures derived in closed form from each construction (half-squares with incentres and so on)."""

import math
import re
from pathlib import Path
from typing import get_args

import numpy as np
import pytest
import yaml

import vcarve.pattern
from vcarve.errors import InputError
from vcarve.job.bench import names
from vcarve.pattern.entries import evaluate
from vcarve.pattern.inspect import group_name, inspect, repeats_sooner, symmetries
from vcarve.pattern.model import pattern, patterns
from vcarve.pattern.symmetry import Group, group_facts
from vcarve.pattern.unit import covers_itself, united
from vcarve.plane.arcs import circles, directions, lengths, mapped, sweeps

FIGURES = yaml.safe_load((Path(__file__).parent / "figures.yaml").read_text(encoding="utf-8"))
DATA = Path(vcarve.pattern.__file__).parent / "data"
KEYS = sorted(FIGURES)

# Orders of the point groups: rotations times two where there are reflections.
POINT_ORDER = {
    name: order * (1 + flips) for name in get_args(Group) for order, flips, _ in [group_facts(name)]
}


def test_every_figure_has_its_pattern():
    """The catalogue holds exactly the patterns of the table, at least 32 of them."""
    assert list(names("pattern")) == KEYS
    assert len(KEYS) >= 32


@pytest.mark.parametrize("key", KEYS)
def test_cell_and_length(key):
    """Area of the unit cell and length of line in it are the closed forms, to twelve digits."""
    made, wanted = pattern(key), FIGURES[key]
    tolerance = 1e-12 if isinstance(wanted["length"], int | str) else 1e-6

    assert made.cell.area == pytest.approx(evaluate(wanted["area"]), rel=1e-12)
    assert lengths(made.curves).sum() == pytest.approx(evaluate(wanted["length"]), rel=tolerance)


def test_seigaiha_length():
    """Waves: the visible part of each ring is pi - 2 theta of its circle (law of cosines, derived)."""
    total = 0.0
    for ring in (1.0, 0.75, 0.5):
        theta = math.atan2(-0.5, 1.0) + math.acos((ring**2 + 0.25) / (2 * ring * math.sqrt(1.25)))
        total += ring * (math.pi - 2 * theta)

    assert lengths(pattern("seigaiha").curves).sum() == pytest.approx(total, rel=1e-12)


@pytest.mark.parametrize("key", KEYS)
def test_symmetric_as_claimed(key):
    """Every operation of the file and every element of its plane group carries the lines onto themselves."""
    made = pattern(key)
    for move in (operation.move for operation in made.operations):
        assert covers_itself(made.curves, made.feature, mapped(made.curves, move[:2], move[2]), made.cell)
    found = symmetries(made)

    assert not repeats_sooner(found)
    assert len(found) == POINT_ORDER[made.group]
    assert group_name(found) == made.group == FIGURES[key]["group"]


@pytest.mark.parametrize("key", KEYS)
def test_nothing_doubled(key):
    """Uniting the lines of a unit cell, or of the same cell shifted by lattice vectors, changes nothing."""
    made = pattern(key)
    shifts = [(0.0, 0.0), *made.cell.basis, -made.cell.basis[0] - 2 * made.cell.basis[1]]
    copies = [mapped(made.curves, np.eye(2), shift) for shift in shifts]
    again, _ = united(np.vstack(copies), np.tile(made.feature, len(shifts)), made.cell)

    assert len(again) == len(made.curves)
    assert lengths(again).sum() == pytest.approx(lengths(made.curves).sum(), rel=1e-12)


@pytest.mark.parametrize("key", KEYS)
def test_ends_meet_exactly(key):
    """Ends that meet do so to far less than a nanometre at any pitch, so noding them needs no guess."""
    made = pattern(key)
    ends = made.curves[:, :4].reshape(-1, 2)
    gaps = made.cell.apart(ends[:, None] - ends) / made.cell.size

    assert gaps[gaps < 1e-3].max() < 1e-12


@pytest.mark.parametrize("key", KEYS)
def test_file_is_complete(key):
    """Each file names itself as its file does, in Japanese and English, with a note, a unit and a pitch range."""
    made = pattern(key)

    assert made.key == key
    assert made.name
    assert made.english
    assert re.search(r"[぀-ヿ一-鿿]", made.kanji)
    assert made.note
    assert made.unit
    assert 0 < made.pitch_mm[0] < made.pitch_mm[1]
    assert np.abs(made.curves[:, 4]).max() <= 1.0
    assert inspect(made) == ()


@pytest.mark.parametrize("key", [key for key in KEYS if FIGURES[key]["cells"]])
def test_pitch_range_leaves_land(key):
    """At the largest pitch a 1 mm groove on every line leaves land in every cell; at the smallest, in the widest."""
    made, cells = pattern(key), FIGURES[key]["cells"]

    assert made.pitch_mm[1] * 2 * min(cell["r-in"] for cell in cells) > 1.0
    assert made.pitch_mm[0] * 2 * max(cell["r-in"] for cell in cells) > 1.0


def test_three_way_joint_is_three_lines():
    """The base grid's unit cell is three strips, one in each direction, each one side long."""
    curves = pattern("mitsukude").curves

    assert lengths(curves) == pytest.approx([1.0, 1.0, 1.0], rel=1e-14)
    angles = sorted(round(math.degrees(math.atan2(y, x))) % 180 for x, y in directions(curves, 0.5).tolist())
    assert angles == [0, 60, 120]


def test_seven_treasures_are_four_quarter_circles():
    """Seven treasures: four arcs of 90 degrees about the centre of the one circle of the cell."""
    curves = pattern("shippo").curves

    assert circles(curves)[1].tolist() == pytest.approx([math.sqrt(0.5)] * 4, rel=1e-12)
    assert np.abs(sweeps(curves)).tolist() == pytest.approx([math.pi / 2] * 4, rel=1e-12)


def test_roles_follow_the_tradition():
    """The base grids are all ground; the leaves of the hemp leaf are leaf and its grid is ground."""
    assert set(pattern("mitsukude").feature.tolist()) == {0}
    leaf = lengths(pattern("asanoha").curves)[pattern("asanoha").feature == 1]
    assert leaf == pytest.approx([1 / math.sqrt(3)] * 6, rel=1e-12)


def test_catalogue_is_all_names():
    """The catalogue has one pattern for each name, in the same order."""
    assert tuple(made.key for made in patterns()) == names("pattern")


@pytest.mark.parametrize(("given", "key"), [("Kaku Asanoha", "kaku-asanoha"), ("kagome", "kagome")])
def test_name_is_forgiving(given, key):
    """Capitals and spaces in a name do not matter."""
    assert pattern(given).key == key


def test_unknown_name_suggests():
    """An unknown name is answered with the nearest one, or with where they are listed."""
    with pytest.raises(InputError, match=r"unknown pattern; did you mean 'asanoha'"):
        pattern("asanoa")
    with pytest.raises(InputError, match="'mizo patterns' lists them"):
        pattern("zzzzzz")


def test_own_file_by_path(tmp_path):
    """A name that ends in .yaml is a path, looked up in the folder given."""
    (tmp_path / "own.yaml").write_bytes((DATA / "kagome.yaml").read_bytes())

    own, known = pattern("own.yaml", tmp_path), pattern("kagome")
    assert own.note == known.note
    assert (own.curves == known.curves).all()
