"""Laws of reading jobs: whatever is written, it is a job or a list of problems in plain words."""

from __future__ import annotations

from typing import Any

import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from vcarve.errors import InputError, Problem
from vcarve.job.document import parse_document
from vcarve.job.record import record_from
from vcarve.job.records import Job

TREE = """\
piece: {width: 90, height: 60, thickness: 9, wood: beech, outline: {shape: rounded, radius: 5}}
title: a title
pattern: {name: asanoha, pitch: 18, edge: plain, frame: [{distance: 5, depth: 1}], depths: {}, mirror: false}
groove: {depth: 1, step: 1}
bit: {angle: 60, diameter: 6, shank: 6, tip: 0.1, tip-radius: 0, flutes: 2}
machine: small-desktop
feed: {cut: 400, plunge: 100, spindle: 9000}
zero: {xy: centre, z: bed}
plan: {recut: never, hop: 1}
clamps: [{x: 1, y: 1, width: 1, height: 1, above: 1}]
"""
values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-5, 5)
    | st.sampled_from(["", "1 in", "x", "beech", "v60-3.175", "~"]),
    lambda inner: (
        st.lists(inner, max_size=2)
        | st.dictionaries(st.sampled_from(["width", "angle", "x", "depth", "name"]), inner, max_size=3)
    ),
    max_leaves=4,
)


def _places(node: Any) -> list[tuple[Any, Any]]:
    """Return every (section, key) of a tree."""
    here = (
        list(node.items())
        if isinstance(node, dict)
        else list(enumerate(node))
        if isinstance(node, list)
        else []
    )
    return [(node, key) for key, _ in here] + [place for _, inner in here for place in _places(inner)]


@settings(deadline=None, derandomize=True, max_examples=300)
@given(st.data())
def test_any_change_gives_a_job_or_problems_in_plain_words(data: st.DataObject) -> None:
    """Any value put anywhere into a job, or taken out of it, is read or refused with its key and a real sentence."""
    tree = yaml.safe_load(TREE)
    for _ in range(data.draw(st.integers(1, 3))):
        section, key = data.draw(st.sampled_from(_places(tree)))
        if data.draw(st.booleans()):
            del section[key]
        else:
            section[key] = data.draw(values)
        if not _places(tree):
            return
    problems: tuple[Problem, ...] = ()
    try:
        record_from(parse_document(yaml.safe_dump(tree).encode(), file="job.yaml"), Job)
    except InputError as error:
        problems = error.problems

    for problem in problems:
        assert problem.file == "job.yaml"
        assert problem.key
        assert len(problem.want) > 10
        assert "another form" not in problem.want
