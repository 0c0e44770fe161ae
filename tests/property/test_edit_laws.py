"""Laws of changing one key of a YAML text: the tree has that change and no other, and nothing else of the text moves."""

from __future__ import annotations

import difflib
import re
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from vcarve.errors import InputError
from vcarve.job.document import parse_document
from vcarve.job.fields import BLANK
from vcarve.job.starters import starter_text
from vcarve.serve import edit
from vcarve.serve.edit import edited

SAMPLES = Path(__file__).parent.parent.parent / "samples"
TEXTS = {path.stem: path.read_text(encoding="utf-8") for path in sorted(SAMPLES.glob("*.yaml"))}
STARTER = starter_text()
TEXTS["starter"] = STARTER
# The starter with every key that it explains in a comment written out.
TEXTS["starter, bare sections"] = re.sub(r"(?m)^  z: .*\n", "", STARTER)
TEXTS["starter, other line ends"] = STARTER.replace("\n", "\r\n")
TEXTS["starter, marked"] = "\ufeff" + STARTER
TEXTS["all forms"] = """\
--- # a file in every form
"quoted key": 'it''s'   # a remark
lines: |
  one
   two

folded: >-
  a
  b
# between
bare:
also bare: ~   # nothing
none: {}
? asked
: answered
list:
- {a: 1, b: 2,}   # first
# of the second
-   x: 1 # x
    # of y
    y:
      - p
      - q: 'r'
        s: [t, u: v, {w, x: , "y": z}]
-
- 5 mm
two: words over
  two lines
flow: {a: [1, 2
    , 3], # why
    b: "é 麻 \\u00e9",
    c: # empty
  }
last: "x"
...
"""
TEXTS["as JSON"] = '{"piece": {"width": 90, "list": [], "none": null},\n "title": "a, b: {c}" }'
TEXTS["without a last line end"] = "a: 1\nb:\n  c: 2"
TEXTS["indented"] = "# head\n  a: 1\n  b:\n    - 1\n    # of two\n    - 2\n\n  # foot\n"

ODD = "90 mm;1/8 in;~;null;; x ;#d9bf94;a: b;a #b;- a;{;it's;\";\\;é 麻;yes;@x;%;&a;*a;!t;a:;:a;?;a, b;[a];---;...;=;<<"
words = st.sampled_from([*ODD.split(";"), "two\nlines", "tab\there", "a" * 300]) | st.text(
    "ab1 :#-{}[],'\"\\é麻~?&*!|>%@`=.\n\t", max_size=8
)
values = st.recursive(
    words,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(words, inner, max_size=3),
    max_leaves=5,
)


loaders = st.sampled_from(["CSafeLoader", "SafeLoader"])


def places(node: Any, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    """Return the paths of every key and item of a tree."""
    inner = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    return [found for key, one in inner for found in [(*path, key), *places(one, (*path, key))]]


def at(tree: Any, path: tuple[str | int, ...]) -> Any:
    """Return what stands at a path."""
    for part in path:
        tree = tree[part]
    return tree


def tree_of(text: str) -> Any:
    """Return the tree of a text, as every reader of jobs sees it."""
    return parse_document(text.encode()).tree


def remarks(text: str) -> list[str]:
    """Return the comments of a text that have a line for themselves."""
    return re.findall(r"(?m)^ *#.*", text)


def written(text: str, path: tuple[str | int, ...]) -> str:
    """Return what stands in the text at a path, its key included; nothing for one that is new."""
    mark = text.startswith("\ufeff")
    node: Any = yaml.compose(text.removeprefix("\ufeff"), Loader=yaml.SafeLoader)
    start = 0
    for part in path:
        if isinstance(node, yaml.MappingNode):
            pairs = [(key, value) for key, value in node.value if key.value == part]
            if not pairs:
                return ""
            start, node = pairs[0][0].start_mark.index, pairs[0][1]
        else:
            if part == "+" or not isinstance(node, yaml.SequenceNode):
                return ""
            node = node.value[part]
            start = node.start_mark.index
    return text[start + mark : node.end_mark.index + mark]


def differing(before: str, after: str) -> int:
    """Return how many signs lie in a text between the beginning and the end that it has in common with what comes of it."""
    same = [one == other for one, other in zip(before, after, strict=False)]
    start = (*same, False).index(False)
    same = [one == other for one, other in zip(before[start:][::-1], after[start:][::-1], strict=False)]
    return len(before) - start - (*same, False).index(False)


def gone(before: str, after: str) -> int:
    """Return how many lines of a text are not in what comes of it, as they are and in their order."""
    matching = difflib.SequenceMatcher(None, before.split("\n"), after.split("\n"), autojunk=False)
    return sum(end - start for kind, start, end, *_ in matching.get_opcodes() if kind != "equal")


@settings(deadline=None, derandomize=True, max_examples=300)
@given(st.data())
def test_one_change_and_nothing_else(data: st.DataObject) -> None:
    """Whatever is changed, added or taken out, the tree differs by that, and comments on lines of their own stay."""
    text = TEXTS[data.draw(st.sampled_from(sorted(TEXTS)))]
    for _ in range(data.draw(st.integers(1, 4))):
        before = tree_of(text)
        every = places(before)
        path = data.draw(st.sampled_from(every))
        wanted = tree_of(text)
        around = at(wanted, path[:-1])
        what = data.draw(st.sampled_from(["change", "take out", "add key", "add item"]))
        value: Any = data.draw(values)
        if what == "change":
            around[path[-1]] = value
        elif what == "take out":
            value = None
            del around[path[-1]]
            if not wanted:
                with pytest.raises(InputError, match="last key"):
                    edited(text, path, None)
                return
        else:
            new = data.draw(words) if what == "add key" else "+"
            inner = at(wanted, path)
            if isinstance(inner, list) and what == "add item":
                inner.append(value)
            elif inner is BLANK:
                around[path[-1]] = [value] if what == "add item" else {new: value}
            elif isinstance(inner, dict):
                what = "change" if new in inner else what
                inner[new] = value
            else:
                with pytest.raises(InputError, match=r"has no keys|is a list"):
                    edited(text, (*path, new), value)
                continue
            path = (*path, new)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(edit, "_Loader", getattr(yaml, data.draw(loaders), yaml.SafeLoader))
            after = edited(text, path, value)
            absent = edited(after, "no.such.key", None)

        assert absent == after
        assert tree_of(after) == wanted
        assert set(remarks(text)) - set(remarks(after)) <= set(remarks(written(text, path)))
        # A key more touches the line that it hangs on, at most; one less its own lines, and that which takes its place.
        own = 0 if what.startswith("add") else written(text, path).count("\n")
        assert gone(text, after) <= own + (2 if what == "take out" else 1)
        if what == "change" and isinstance(at(before, path), str):
            assert differing(text, after) <= len(written(text, path))
        text = after
