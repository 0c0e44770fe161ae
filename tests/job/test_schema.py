"""JSON Schemas of job and machine files, held against the files and against the reader."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml

import vcarve
from vcarve.errors import InputError
from vcarve.job.bench import Machine
from vcarve.job.document import parse_document
from vcarve.job.record import record_from, schema_of
from vcarve.job.records import Job
from vcarve.job.starters import starter_text
from vcarve.pattern.model import Pattern

ROOT = Path(vcarve.__file__).parent.parent
SCHEMAS = {kind: schema_of(kind, kind.__name__) for kind in (Job, Machine, Pattern)}
JOB = jsonschema.Draft202012Validator(SCHEMAS[Job])
MACHINE = jsonschema.Draft202012Validator(SCHEMAS[Machine])


@pytest.mark.parametrize("made", SCHEMAS.values(), ids=lambda made: made["title"])
def test_schemas_are_schemas(made: dict[str, Any]) -> None:
    """Each is valid 2020-12."""
    assert made["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    jsonschema.Draft202012Validator.check_schema(made)


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
        ("groove.step", None, False),
        ("pattern.across", None, False),
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
        record_from(parse_document(yaml.safe_dump(tree).encode()), Job)
        read = True
    except InputError:
        read = False

    assert (JOB.is_valid(tree), read) == (right, right)


def test_what_a_schema_offers_for_a_key_means_the_same_as_leaving_it_out() -> None:
    """An editor that writes the defaults of a schema out leaves the job as it is, a round one as well."""
    tree = yaml.safe_load(starter_text())
    tree["piece"] |= {"height": tree["piece"]["width"], "outline": {"shape": "circle"}}
    tree["pattern"]["frame"] = [{"distance": "3 mm"}]
    parts = {"Piece": tree["piece"], "Outline": tree["piece"]["outline"], "PatternChoice": tree["pattern"]}
    parts |= {"Groove": tree["groove"], "Zero": tree.pop("zero"), "Frame": tree["pattern"]["frame"][0]}
    parts["Zero"].pop("xy", None)
    parts |= {"Plan": {}, "Feed": {}}
    tree |= {name.lower(): parts[name] for name in ("Zero", "Plan", "Feed")}
    parts[""] = tree
    before = record_from(parse_document(yaml.safe_dump(tree).encode()), Job)
    for name, section in parts.items():
        made = SCHEMAS[Job]["$defs"][name] if name else SCHEMAS[Job]
        for key, one in made["properties"].items():
            if "default" in one:
                section.setdefault(key, one["default"])
    after = record_from(parse_document(yaml.safe_dump(tree).encode()), Job)

    assert JOB.is_valid(tree)
    assert after.model_dump() == before.model_dump()


def test_every_key_has_a_meaning() -> None:
    """Editors have a sentence to show for every key."""
    sections = [section for made in SCHEMAS.values() for section in (made, *made["$defs"].values())]
    keys = {
        (section["title"], key): one for section in sections for key, one in section["properties"].items()
    }

    assert [key for key, one in keys.items() if not one.get("description")] == []
    assert keys["Piece", "width"]["description"].startswith(
        "size along X (length; a bare number is in mm; for"
    )
    assert keys["PatternChoice", "across"]["description"].endswith(" (a whole number from 1 to 1000)")
    assert "; a bare number is in mm/min; for" in keys["Feed", "cut"]["description"]
