"""YAML as a tree with places, and overrides laid over it."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from vcarve.errors import InputError, Problem
from vcarve.job.document import (
    DEEPEST,
    LARGEST_BYTES,
    Place,
    parse_document,
    placed,
    read_bytes,
    read_document,
    reading_only,
)
from vcarve.job.fields import BLANK

TEXT = b"""\
# a comment
piece: {width: 90 mm,
        height: 012}
list:
  - a: 1:30
  - no
"quoted": 'it''s'
empty:
"""


def test_values_stay_the_text_that_was_written() -> None:
    """Octals, sexagesimals and booleans of old YAML stay text; a key without a value is blank."""
    document = parse_document(TEXT)

    assert document.tree == {
        "piece": {"width": "90 mm", "height": "012"},
        "list": [{"a": "1:30"}, "no"],
        "quoted": "it's",
        "empty": BLANK,
    }


def test_every_key_knows_its_line() -> None:
    """Lines are counted from 1; what is missing is placed at the section around it."""
    document = parse_document(TEXT, file="a.yaml")

    assert document.place(("piece", "width")) == Place("a.yaml", 2)
    assert document.place(("piece", "height")) == Place("a.yaml", 3)
    assert document.place(("list", 0, "a")) == Place("a.yaml", 5)
    assert document.place(("list", 1)) == Place("a.yaml", 6)
    assert document.place(("piece", "absent")) == Place("a.yaml", 2)
    assert document.place(("absent",)) == Place("a.yaml")
    assert document.written(("list", 1)) == "no"
    assert document.written(("list", 7)) is None


def test_overrides_change_add_and_take_out() -> None:
    """An override changes a value, makes a section, takes a key out, or sets a whole section or an item's key."""
    sets = ["piece.width=80 mm", "groove.depth=1.5", "quoted=", "empty={a: [1, {b: 2}]}", "list.0.a=x=y"]
    document = parse_document(TEXT, sets=sets)

    assert document.tree["piece"] == {"width": "80 mm", "height": "012"}
    assert document.tree["groove"] == {"depth": "1.5"}
    assert "quoted" not in document.tree
    assert document.tree["empty"] == {"a": ["1", {"b": "2"}]}
    assert document.tree["list"][0] == {"a": "x=y"}


def test_a_wrong_value_from_an_override_is_placed_there() -> None:
    """The place of an override is shown as it was typed."""
    document = parse_document(TEXT, file="a.yaml", sets=["piece.width=x", "empty={a: b}"])

    assert str(document.problem(("piece", "width"), "no")) == "--set piece.width: 'x': no"
    assert str(document.problem(("empty", "a"), "no")) == "--set empty: empty.a: 'b': no"


def test_a_long_key_of_an_override_is_named_once() -> None:
    """A key too long to be shown whole is the override's own all the same."""
    key = "x" * 200
    document = parse_document(TEXT, sets=[f"{key}=1"])

    assert str(document.problem((key,), "no")) == f"--set {'x' * 120}…: '1': no"


@pytest.mark.parametrize(
    ("override", "message"),
    [
        ("depth", "--set: 'depth': write a key, an equals sign and a value, such as --set groove.depth=1.5"),
        ("=2", "--set: '=2': write a key, an equals sign and a value, such as --set groove.depth=1.5"),
        (
            "a..b=2",
            "--set: 'a..b=2': write a key, an equals sign and a value, such as --set groove.depth=1.5",
        ),
        (
            "quoted.x=2",
            "--set quoted.x: '2': 'quoted' is the single value \"it's\" and has no keys; set the whole of it",
        ),
        ("list.9.a=2", "--set list.9.a: '2': 'list' is a list; its items are counted from 0 to 1"),
        (
            f"list.{'9' * 5000}.a=2",
            f"--set list.{'9' * 115}…: '2': 'list' is a list; its items are counted from 0 to 1",
        ),
        ("list.0=2", "--set list.0: '2': items of a list are set key by key, or all at once"),
        (
            "empty={a: 1",
            "--set empty: '{a: 1': the bracket or brace opened here is not closed, or a comma is missing",
        ),
        ("empty={a: &b 1}", "--set empty: '{a: &b 1}': anchors are not taken; write the value out"),
    ],
)
def test_wrong_overrides(override: str, message: str) -> None:
    """A wrong override is answered with a whole sentence."""
    with pytest.raises(InputError) as caught:
        parse_document(TEXT, sets=[override])

    assert str(caught.value) == message


def test_later_problems_find_keys_with_dots_and_digits() -> None:
    """The name of a layer may hold dots or be a number; a problem found later names the line it stands on all the same."""
    document = parse_document(b'depths:\n  a: 1\n  "b.c": 2\n  "7": 3\nlist:\n- x: 4\n', file="a.yaml")
    wrong = [Problem(key=key, want="no") for key in ("depths.b.c", "depths.7", "list.0.x", "depths.absent")]

    with pytest.raises(InputError) as caught, placed(document):
        raise InputError(wrong)

    places = [(problem.line, problem.key, problem.value) for problem in caught.value.problems]
    assert places == [
        (1, "depths.absent", None),
        (3, "depths.b.c", "2"),
        (4, "depths.7", "3"),
        (6, "list.0.x", "4"),
    ]


def test_all_wrong_overrides_are_said_at_once() -> None:
    """Overrides do not hide each other's problems."""
    with pytest.raises(InputError) as caught:
        parse_document(TEXT, sets=["a", "b"])

    assert [problem.value for problem in caught.value.problems] == ["a", "b"]


def test_too_large_and_too_deep_are_refused() -> None:
    """Neither size nor depth of a file can exhaust the reader."""
    with pytest.raises(InputError, match="too large"):
        parse_document(b"#" * (LARGEST_BYTES + 1))
    with pytest.raises(InputError, match="nested too deeply"):
        parse_document(b"a: " + b"[" * (DEEPEST + 1) + b"]" * (DEEPEST + 1))
    with pytest.raises(InputError):
        parse_document(b"[" * 100_000)


def test_byte_order_mark_and_line_ends_of_other_systems() -> None:
    """A byte order mark is skipped, and carriage returns count no lines of their own."""
    document = parse_document(b"\xef\xbb\xbfa: 1\r\nb: 2\r\n", file="f")

    assert document.tree == {"a": "1", "b": "2"}
    assert document.place(("b",)).line == 2


def test_standard_input(monkeypatch: pytest.MonkeyPatch) -> None:
    """A dash reads standard input, and problems name it so."""
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(b"a: 1\na: 2\n")))
    with pytest.raises(InputError, match=r"^standard input:2: a: this key is given twice, first on line 1"):
        read_document("-")


def test_unreadable_paths(tmp_path: Path) -> None:
    """A missing file, a folder and an impossible path are problems, not tracebacks."""
    for path, reason in (
        (tmp_path / "no.yaml", "no such file"),
        (tmp_path, "folder"),
        (tmp_path / "a\0b", "usable"),
    ):
        with pytest.raises(InputError, match=reason):
            read_document(str(path))


plain = st.text(alphabet="abcdefg xyz-_.", min_size=1, max_size=8).map(str.strip).filter(bool)
trees = st.recursive(
    plain,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(plain, inner, max_size=3),
    max_leaves=12,
)


@pytest.mark.slow
@settings(deadline=None, derandomize=True, max_examples=150)
@given(st.dictionaries(plain, trees, min_size=1, max_size=4), st.booleans())
def test_what_yaml_writes_is_read_back(tree: dict[str, object], flow: bool) -> None:
    """A tree of texts written by PyYAML, in either style, is the same tree again."""
    text = yaml.safe_dump(tree, default_flow_style=flow)

    assert parse_document(text.encode()).tree == tree


@settings(deadline=None, derandomize=True, max_examples=400)
@given(st.binary(max_size=40) | st.text(alphabet="ab:{}[]-,\n \t#&*!'\"?|>%@~0", max_size=40).map(str.encode))
def test_any_bytes_are_a_tree_or_problems(data: bytes) -> None:
    """Nothing but InputError escapes the reader."""
    try:
        document = parse_document(data)
    except InputError as error:
        document = None
        problems = error.problems
    else:
        problems = ()

    assert (document is None) == bool(problems)


def test_where_one_folder_is_worked_in_nothing_else_is_read(tmp_path: Path) -> None:
    """Neither a path that leads out, nor a link that does, nor what is no plain file is opened; the folder's own files are."""
    folder, outside = tmp_path / "folder", tmp_path / "outside.yaml"
    folder.mkdir()
    outside.write_text("a: 1\n", encoding="utf-8")
    (folder / "own.yaml").write_text("a: 2\n", encoding="utf-8")
    (folder / "link.yaml").symlink_to(outside)
    (folder / "sub.yaml").mkdir()

    with reading_only(str(folder)):
        assert read_bytes(str(folder / "own.yaml"), 9) == b"a: 2\n"
        for name, want in (
            ("../outside.yaml", "lies outside"),
            ("link.yaml", "lies outside"),
            (str(outside), "lies outside"),
            ("sub.yaml", "no plain file"),
            ("none.yaml", "no such file"),
        ):
            with pytest.raises(InputError, match=want):
                read_bytes(str(folder / name), 9)
    assert read_bytes(str(outside), 9) == b"a: 1\n"
