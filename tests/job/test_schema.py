"""JSON Schemas of job and machine files, held against the files and against the reader."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml

import vcarve
from vcarve.errors import InputError
from vcarve.job.check import record_from
from vcarve.job.document import parse_document
from vcarve.job.meanings import MEANINGS
from vcarve.job.records import JobFile
from vcarve.job.schema import schema, schema_of
from vcarve.job.starter import starter_text
from vcarve.pattern.file import PatternFile

ROOT = Path(vcarve.__file__).parent.parent
JOB = jsonschema.Draft202012Validator(schema("job"))
MACHINE = jsonschema.Draft202012Validator(schema("machine"))


@pytest.mark.parametrize("kind", ["job", "machine"])
def test_schemas_are_schemas(kind: Any) -> None:
    """Each is valid 2020-12."""
    assert schema(kind)["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    jsonschema.Draft202012Validator.check_schema(schema(kind))


@pytest.mark.parametrize("path", sorted((ROOT / "samples").glob("*.yaml")), ids=lambda path: path.stem)
def test_samples_fit_the_job_schema(path: Path) -> None:
    """An editor that checks by the schema finds nothing wrong with a sample."""
    assert list(JOB.iter_errors(yaml.safe_load(path.read_text(encoding="utf-8")))) == []


@pytest.mark.parametrize("path", sorted((ROOT / "machines").glob("*.yaml")), ids=lambda path: path.stem)
def test_machines_fit_the_machine_schema(path: Path) -> None:
    """Nor with a machine file."""
    assert list(MACHINE.iter_errors(yaml.safe_load(path.read_text(encoding="utf-8")))) == []


def test_the_starter_fits_the_job_schema() -> None:
    """Nor with the starter."""
    assert list(JOB.iter_errors(yaml.safe_load(starter_text()))) == []


@pytest.mark.parametrize(
    ("path", "value", "right"),
    [
        ("piece.width", "1 1/4 in", True),
        ("piece.width", 90, True),
        ("piece.width", "90 furlongs", False),
        ("piece.width", 0, False),
        ("piece.colour", "red", False),
        ("bit", {"angle": "60 deg", "diameter": 6, "shank": '1/4"'}, True),
        ("bit", {"angle": 3, "diameter": 6, "shank": 6}, False),
        ("pattern.pitch", "about 22 mm", True),
        ("pattern.pitch", "roughly 22 mm", False),
        ("pattern.mirror", True, True),
        ("pattern.mirror", "perhaps", False),
        ("zero", {"xy": "centre"}, True),
        ("zero", {"xy": "middle"}, False),
        ("feed", {"cut": "24 in/min", "spindle": "12000 rpm"}, True),
        ("feed", {"cut": "24 kg"}, False),
    ],
)
def test_schema_and_reader_judge_alike(path: str, value: Any, right: bool) -> None:
    """What the schema takes, the reader takes; what it refuses, the reader refuses."""
    tree = yaml.safe_load(starter_text())
    node = tree
    *sections, last = path.split(".")
    for section in sections:
        node = node[section]
    node[last] = value
    try:
        record_from(parse_document(yaml.safe_dump(tree).encode()), JobFile)
        read = True
    except InputError:
        read = False

    assert (JOB.is_valid(tree), read) == (right, right)


def test_every_key_has_a_meaning() -> None:
    """Editors have a sentence to show for every key, and no meaning is left over from a key that is gone."""
    found: dict[str, Any] = {}
    for made, root in (
        (schema("job"), "JobFile"),
        (schema("machine"), "Machine"),
        (schema_of(PatternFile, "pattern"), "PatternFile"),
    ):
        found |= {**made["$defs"], root: made}
    for name, section in found.items():
        assert set(section.get("properties", {})) == set(MEANINGS.get(name, {})), name
        assert all(
            one.get("description") or "$ref" in one for one in section.get("properties", {}).values()
        ), name
