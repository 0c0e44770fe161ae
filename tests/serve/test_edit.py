"""A key of a YAML text changed: what becomes of its line, its quotes, its comments, and what is refused."""

from __future__ import annotations

from typing import Any

import pytest
import yaml

from served import SMALL
from vcarve.errors import InputError, InternalError
from vcarve.job.document import parse_document
from vcarve.job.fields import BLANK
from vcarve.job.starters import starter_text
from vcarve.serve import edit
from vcarve.serve.edit import edited

STARTER = starter_text()


@pytest.fixture(params=["CSafeLoader", "SafeLoader"], autouse=True)
def loader(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Cut by the marks of both readers of YAML: the quick one is not everywhere."""
    if not hasattr(yaml, request.param):
        pytest.skip("PyYAML has been built without libyaml")
    monkeypatch.setattr(edit, "_Loader", getattr(yaml, request.param))


@pytest.mark.parametrize(
    ("before", "key", "value", "after"),
    [
        # a value, with what stands round it
        ("a: 1   # one\n", "a", "12 mm", "a: 12 mm   # one\n"),
        ("a: [ 1,2 ]\n", "a", ["1", "2"], "a: [ 1,2 ]\n"),
        ("a: {b: 1 , c: 2}\n", "a.b", "1/8 in", "a: {b: 1/8 in , c: 2}\n"),
        ("a: 'one'\nb: x\n", "a", "it's", "a: 'it''s'\nb: x\n"),
        ('a: "one"\n', "a", 'say "two"', 'a: "say \\"two\\""\n'),
        ("a: one\n", "a", "#d9bf94", 'a: "#d9bf94"\n'),
        ("a: {b: one}\n", "a.b", "one, two", 'a: {b: "one, two"}\n'),
        ("a: one\n", "a", "one, two", "a: one, two\n"),
        ("a: one\n", "a", "~", 'a: "~"\n'),
        ("a: one\n", "a", "two\nlines", 'a: "two\\nlines"\n'),
        ("a: 1\n", "a", 2.5, "a: 2.5\n"),
        ("a: 1\n", "a", True, "a: true\n"),
        ("a: |\n  one\n  two\n\nb: 1\n", "a", "three", "a: three\n\nb: 1\n"),
        ("a: one\n  two # words\nb: 1\n", "a", "three", "a: three # words\nb: 1\n"),
        ("a:   # nothing yet\nb: 1\n", "a", "1", "a: 1   # nothing yet\nb: 1\n"),
        ("a: ~ # none\n", "a", "1", "a: 1 # none\n"),
        ("a: {b, c: 1}\n", "a.b", "2", "a: {b: 2, c: 1}\n"),
        ("- 1\n", "0", "2", None),
        # a section or a list in place of a value, and the other way round
        ("bit: v60  # it\n", "bit", {"angle": "60 deg", "tip": "0.1 mm"}, "bit: {angle: 60 deg, tip: 0.1 mm}  # it\n"),
        ("bit:  # mine\n  angle: 60  # deg\n  # wide\n  tip: 1\nm: x\n", "bit", "v60", "bit: v60  # mine\n  # wide\nm: x\n"),
        ("a: {b: 1}\n", "a", "1", "a: 1\n"),
        ("a: 1\n", "a", [], "a: []\n"),
        # a key more
        ("a: {b: 1}\n", "a.c", "2", "a: {b: 1, c: 2}\n"),
        ("a: {}\n", "a.c", "2", "a: {c: 2}\n"),
        ("a: {b:}\n", "a.c", "2", "a: {b: , c: 2}\n"),
        ("a: one\n", "a", "a\ttab", 'a: "a\\ttab"\n'),
        ("a: {b: 1,\n    d: 3 # three\n   }\n", "a.c", "2", "a: {b: 1,\n    d: 3, c: 2 # three\n   }\n"),
        ("a:\n  b: 1  # one\n\nd: 1\n", "a.c", "2", "a:\n  b: 1  # one\n  c: 2\n\nd: 1\n"),
        ("a:\n  b: 1\n  # c: 3  # as many\nd: 1\n", "a.c", "2", "a:\n  b: 1\n  c: 2\n  # c: 3  # as many\nd: 1\n"),
        ("a:\n  b:\n    x: 1\n    # b\n  # of a\nd: 1\n", "a.c", "2", "a:\n  b:\n    x: 1\n    # b\n  c: 2\n  # of a\nd: 1\n"),
        ("a: 1\n# b: 2\n\nc: 3\n", "b", "4", "a: 1\nb: 4\n# b: 2\n\nc: 3\n"),
        ("a: 1", "b", "2", "a: 1\nb: 2"),
        ("a: 1\r\nb:\r\n  c: 2\r\n", "b.d", "3", "a: 1\r\nb:\r\n  c: 2\r\n  d: 3\r\n"),
        ("a: 1\n", "feed.cut", "400 mm/min", "a: 1\nfeed: {cut: 400 mm/min}\n"),
        ("zero:   # none\nb: 1\n", "zero.z", "bed", "zero:   # none\n  z: bed\nb: 1\n"),
        ("zero: {}\n  # z: top  # or bed\nb: 1\n", "zero.z", "bed", "zero:\n  z: bed\n  # z: top  # or bed\nb: 1\n"),
        # a key less
        ("a: {b: 1, c: 2}\n", "a.b", None, "a: {c: 2}\n"),
        ("a: {b: 1, c: 2}\n", "a.c", None, "a: {b: 1}\n"),
        ("a: {b: 1,}\n", "a.b", None, "a: {}\n"),
        ("a: {b: 1, # one, all\n    c: 2}\n", "a.c", None, "a: {b: 1 # one, all\n    }\n"),
        ("a:\n  b: 1 # one\n  # about c\n  c: 2\n", "a.b", None, "a:\n  # about c\n  c: 2\n"),
        ("a:  # mine\n  # before\n  b: 1 # one\n  # after\nc: 2\n", "a.b", None, "a: {}  # mine\n  # before\n  # after\nc: 2\n"),
        ("a: 1\nb: 2\n", "x.y", None, "a: 1\nb: 2\n"),
        ("a:\nb: 2\n", "a.y", None, "a:\nb: 2\n"),
        ("a: {}\nb: 2\n", "a.y.z", None, "a: {}\nb: 2\n"),
        # lists
        ("a: [1, 2, 3]\n", "a.1", None, "a: [1, 3]\n"),
        ("a: [1]\n", "a.0", None, "a: []\n"),
        ("a: [1]\n", "a.+", "2", "a: [1, 2]\n"),
        ("b: 1\n", "a.+", {"x": "1"}, "b: 1\na: [{x: 1}]\n"),
        ("a:\n- 1 # one\n- 2\n", "a.0", None, "a:\n- 2\n"),
        ("a: []\n  # - 1  # more\nb: 2\n", "a.+", "3", "a:\n  - 3\n  # - 1  # more\nb: 2\n"),
        ("a:  # none\nb: 2\n", "a.+", "3", "a: [3]  # none\nb: 2\n"),
        ("a:\n  - 1\n  # more\nb: 2\n", "a.+", "3", "a:\n  - 1\n  - 3\n  # more\nb: 2\n"),
        ("a:\n  - x: 1 # one\n    y: 2\n", "a.0.x", None, "a:\n  - y: 2\n"),
        ("a:\n  - x: 1\n    y: 2\n", "a.0.z", "3", "a:\n  - x: 1\n    y: 2\n    z: 3\n"),
        ("a:\n  - x: 1\n    y: 2\n  - x: 3\n", "a.0", None, "a:\n  - x: 3\n"),
        ("a:\n  - x: 1\n", "a.0", None, "a: []\n"),
        ("a:\n  - {x: 1, y: 2}\n", "a.0.x", "5 mm", "a:\n  - {x: 5 mm, y: 2}\n"),
        # names with dots, and names that are numbers
        ("depths: {a.b: 1, '0': 2}\n", "depths.a.b", "3", "depths: {a.b: 3, '0': 2}\n"),
        ("depths: {a.b: 1, '0': 2}\n", "depths.0", "3", "depths: {a.b: 1, '0': 3}\n"),
    ],
)  # fmt: skip
def test_what_becomes_of_the_text(before: str, key: str, value: Any, after: str | None) -> None:
    """The one key changes as a careful hand would change it, and every other byte stays."""
    if after is None:
        with pytest.raises(InputError):
            edited(before, key, value)
        return

    assert edited(before, key, value) == after


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("pattern.edge", "plain"), ("pattern.across", "5"), ("pattern.margin", "5 mm"), ("piece.outline", {"shape": "circle"}),
        ("groove.taper", "6 mm"), ("groove.step", "0.5 mm"), ("zero.xy", "centre"), ("zero.turn", "1 deg"), ("units", "inch"),
        ("feed", {"cut": "400"}), ("plan.recut", "never"), ("clamps", []), ("pattern.frame", [{"distance": "5 mm"}]),
    ],
)  # fmt: skip
@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_a_key_that_the_starter_explains_stands_above_its_comment(
    key: str, value: Any, line_end: str
) -> None:
    """It comes on a line of its own right above the comment that explains it, and taken out again leaves what was there."""
    before = STARTER.replace("\n", line_end)
    after = edited(before, key, value)
    lines, former = after.split(line_end), before.split(line_end)
    (new,) = [number for number, line in enumerate(lines) if line not in former]
    last = key.split(".")[-1] if f"  # {key.split('.')[-1]}:" in STARTER else key.split(".")[0]

    assert lines[:new] + lines[new + 1 :] == former
    assert lines[new + 1].lstrip().startswith(f"# {last}:")
    assert (
        edited(after, key if "." in key and last != key.split(".")[0] else key.split(".")[0], None) == before
    )


def test_the_last_key_of_a_section_taken_out_and_put_back() -> None:
    """The section stays, empty, with its comments, and the key put back leaves the comments where they are."""
    without = edited(STARTER, "zero.z", None)

    assert parse_document(without.encode()).tree["zero"] == {}
    assert "zero: {}\n  # xy: front-left" in without
    assert "zero:\n  xy: centre\n  # xy: front-left" in edited(without, "zero.xy", "centre")


def test_a_mark_at_the_head_of_the_file_stays() -> None:
    """The byte order mark that some editors write is no part of the first key."""
    assert edited("\ufeffa: 1\nb: 2\n", "a", "3") == "\ufeffa: 3\nb: 2\n"
    assert edited("\ufeffa: 1\nb: 2\n", "a", None) == "\ufeffb: 2\n"


@pytest.mark.parametrize(
    ("text", "key", "value", "want"),
    [
        ("a: 1\n", "a", None, "last key"),
        ("a: 1\n", "a.b", "2", "single value '1'"),
        ("a: [1]\n", "a.1", "2", "a list of 1"),
        ("a: [1]\n", "a.b", "2", "a list of 1"),
        ("a: 1\n", "", "2", "name the key"),
        ("a: 1\n", "a", "\x1b[2J", "control character"),
        ("a: 1\n", "a", "\u202e", "control character"),
        ("a: 1\n", "b" * 2000, "1", "too long"),
        ("a: 1\n", "a", "1" * 300_000, "too long|too large"),
        ("a: &x 1\n", "a", "2", "anchors"),
        ("a: [1\n", "a", "2", "not closed"),
    ],
)
def test_what_cannot_be_done_is_refused_in_words(text: str, key: str, value: Any, want: str) -> None:
    """A path that leads nowhere, a text that cannot be read and a value that cannot be written raise, and change nothing."""
    with pytest.raises(InputError, match=want):
        edited(text, key, value)


def test_deep_values_are_refused() -> None:
    """A value nested deeper than files may be is no fault of ours."""
    value: Any = "1"
    for _ in range(20):
        value = [value]
    with pytest.raises(InputError, match="deep"):
        edited("a: 1\nb: {c: {d: 1}}\n", "b.c.d", value)


def test_a_spoiled_text_is_a_fault_of_ours(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the change has made is read again: more changed, or nothing to be read any more, is told as our fault."""
    for spoiled in ("a: 2\nb: 3\n", "a: [\n", "a: 1\nb: 1\n"):
        monkeypatch.setattr(edit._Cuts, "put", lambda self, path, value, new=spoiled: new)
        with pytest.raises(InternalError):
            edited("a: 1\nb: 1\n", "a", "2")


def test_blank_is_no_text() -> None:
    """A key without a value and a key with an empty text are two things, and both stay what they are."""
    text = edited("a:\nb: ''\nc: 1\n", "c", "")

    assert text == "a:\nb: ''\nc: \"\"\n"
    assert parse_document(text.encode()).tree == {"a": BLANK, "b": "", "c": ""}


@pytest.mark.parametrize("sign", ["\x07", "\u200b", "\x85"])
def test_a_sign_that_is_not_taken_is_told_by_its_key(sign: str) -> None:
    """A value with a control character is refused where it was to stand, and the text stays as it was."""
    with pytest.raises(InputError, match="control character") as raised:
        edited(SMALL, "groove.depth", f"0.9{sign} mm")

    assert [one.key for one in raised.value.problems] == ["groove.depth"]
