"""Rules between the keys of a record: a value at its limit is taken, one just beyond it is refused at its key."""

from __future__ import annotations

import math
from typing import Any

import pytest

from vcarve.errors import InputError
from vcarve.job.bench import Bit, Machine
from vcarve.job.document import parse_document
from vcarve.job.record import record_from
from vcarve.job.records import Job

MACHINE = b"""
name: own
title: Own mill
travel: {x: 300, y: 200, z: 50}
rapid: {x: 2000, y: 1500, z: 600}
acceleration: {x: 200, y: 200, z: 100}
feed-max: {x: 1000, y: 1000, z: 400}
spindle: {min: 1000, max: 10000}
collets: [3.175]
"""
BIT = b"{angle: 90, diameter: 6, shank: 6}"
JOB = b"""
piece: {width: 80, height: 60, thickness: 9, wood: beech}
pattern: {name: asanoha, pitch: 18}
groove: {depth: 1}
bit: v60-3.175
machine: small-desktop
"""


def refused(text: bytes, kind: Any, *sets: str) -> list[str]:
    """Return the keys at which a record with some of its values changed is refused; none where it is taken."""
    try:
        record_from(parse_document(text, file="try.yaml", folder=".", sets=sets), kind)
    except InputError as error:
        # The place of a value given by --set is that override's.
        return [problem.key or str(problem.file).removeprefix("--set ") for problem in error.problems]
    return []


@pytest.mark.parametrize(
    ("within", "beyond", "key"),
    [
        ("safe-height=49.9", "safe-height=50", "safe-height"),
        ("feed-max.x=2000", "feed-max.x=2001", "feed-max.x"),
        ("feed-max.y=1500", "feed-max.y=1501", "feed-max.y"),
        ("feed-max.z=600", "feed-max.z=601", "feed-max.z"),
        ("spindle.min=10000", "spindle.min=10001", "spindle.max"),
        ("spindle={min: 0, max: 1}", "spindle={min: 0, max: 0}", "spindle.max"),
        ("arc-tolerance=0.0005", "arc-tolerance=0.00049", "arc-tolerance"),
        ("arc-tolerance=0.05", "arc-tolerance=0.051", "arc-tolerance"),
    ],
)
def test_a_machine_does_not_contradict_itself(within: str, beyond: str, key: str) -> None:
    """The bit must be able to rise, no feed outruns the axis's own rate, and a spindle turns at some speed."""
    assert refused(MACHINE, Machine, within) == []
    assert refused(MACHINE, Machine, beyond) == [key]


def test_a_round_tip_leaves_some_cone() -> None:
    """The ball of radius r meets a cone of half angle h where it is 2 r cos h wide: that is less than the diameter."""
    largest = 6.0 / (2.0 * math.cos(math.radians(45.0)))

    assert refused(BIT, Bit, f"tip-radius={largest - 0.001}") == []
    assert refused(BIT, Bit, f"tip-radius={largest + 0.001}") == ["tip-radius"]


@pytest.mark.parametrize(
    ("within", "beyond", "key"),
    [
        (["pattern.margin=29.9"], ["pattern.margin=30"], "pattern.margin"),
        (
            ["pattern.frame=[{distance: 29.9}]"],
            ["pattern.frame=[{distance: 30}]"],
            "pattern.frame.0.distance",
        ),
    ],
)
def test_lines_lie_on_the_piece(within: list[str], beyond: list[str], key: str) -> None:
    """Margins and frames end before the middle of the shorter side, 30 mm here."""
    assert refused(JOB, Job, *within) == []
    assert refused(JOB, Job, *beyond) == [key]
