"""What the page makes its fields of: every key of a job, once, as the JSON Schema has it."""

from __future__ import annotations

from typing import Any

from pydantic import Field

from form_nodes import every
from vcarve.job.bench import bits, woods
from vcarve.job.fields import NotNegativeMm
from vcarve.job.panel import Panel
from vcarve.job.record import Record, schema_of
from vcarve.job.records import Job
from vcarve.serve import form as form_module
from vcarve.serve.form import choices, form


def _schema_keys(schema: dict[str, Any], node: dict[str, Any], above: str) -> dict[str, dict[str, Any]]:
    """Return each key below a part of the schema by its path, with what the schema says of it."""
    found = {}
    for key, said in node.get("properties", {}).items():
        found[f"{above}{key}"] = said
        for part in (said, said.get("items", {}), *said.get("anyOf", ())):
            if "$ref" in part:
                inner = schema["$defs"][part["$ref"].rsplit("/", 1)[1]]
                found |= _schema_keys(schema, inner, f"{above}{key}.")
    return found


def test_every_key_of_the_schema_is_a_node_with_its_meaning_and_its_bounds() -> None:
    """The page leaves nothing out that a job file can say, and says of it what the schema says."""
    schema = schema_of(Job, "job")
    known = _schema_keys(schema, schema, "")
    nodes = {node["path"]: node for node in every(form())}

    assert set(nodes) == set(known)
    for path, said in known.items():
        node = nodes[path]
        assert said["description"].startswith(node["meaning"])
        number = said.get("anyOf", [{}])[0]
        assert node.get("least") == number.get("minimum", number.get("exclusiveMinimum"))
        assert node.get("most", said.get("maxLength")) == number.get("maximum", said.get("maxLength"))


def test_each_kind_of_key_is_told_as_what_it_is() -> None:
    """Numbers come with their unit, words with what may be chosen, names with the list they are from."""
    nodes = {node["path"]: node for node in every(form())}

    assert (nodes["piece.width"]["kind"], nodes["piece.width"]["unit"]) == ("quantity", "mm")
    assert (nodes["zero.turn"]["kind"], nodes["zero.turn"]["default"]) == ("quantity", "0 deg")
    assert (nodes["pattern.across"]["kind"], nodes["pattern.across"]["most"]) == ("whole", 1000)
    assert nodes["zero.xy"]["words"] == ["front-left", "front-right", "back-left", "back-right", "centre"]
    assert nodes["zero.xy"]["default"] is None  # the outline decides
    assert (nodes["bit"]["kind"], nodes["bit"]["of"]) == ("name", "bit")
    assert [path for path, node in nodes.items() if node["kind"] == "name" and "fields" in node] == [
        "piece.wood",
        "bit",
        "cut-out.bit",
    ]
    assert nodes["clamps"]["kind"] == "list"
    assert [one["key"] for one in nodes["clamps"]["item"]["fields"]] == ["x", "y", "width", "height", "above"]
    assert (nodes["pattern.depths"]["kind"], nodes["pattern.depths"]["item"]["unit"]) == ("table", "mm")
    assert nodes["pattern.mirror"] == nodes["pattern.mirror"] | {"kind": "flag", "default": "false"}
    assert (nodes["piece.width"]["required"], nodes["piece.outline"]["required"]) == (True, False)


def test_a_key_that_later_work_adds_shows_up_by_itself() -> None:
    """A record with one key more has one node more, with its unit and its meaning."""

    class Later(Record):
        glue_mm: NotNegativeMm = Field(0.5, description="room for glue")

    (node,) = form_module._fields(Later, "inlay.")

    assert node == {
        "key": "glue", "path": "inlay.glue", "meaning": "room for glue", "required": False, "default": "0.5 mm",
        "kind": "quantity", "unit": "mm", "least": 0,
        "said": "length; a bare number is in mm; for example 12 mm, 2.5 cm, 1/4 in or 1 1/4 in",
    }  # fmt: skip


def test_what_can_be_chosen_are_the_lists_of_the_commands() -> None:
    """Woods, bits, machines and patterns stand under the keys that name them."""
    lists = choices()

    nodes = (*every(form()), *every(form(Panel)))
    assert {node["of"] for node in nodes if node["kind"] in ("name", "grid")} == set(lists)
    assert [one["name"] for one in lists["piece.wood"]] == [wood.name for wood in woods()]
    assert [one["name"] for one in lists["bit"]] == [bit.name for bit in bits()]
    assert all(one["thumb"].endswith(f"{one['name']}.svg") for one in lists["pattern.name"])
