"""JSON Schemas (2020-12) of what people write, generated from the records, so that editors complete and check it."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel

from vcarve.job.bench import Machine
from vcarve.job.meanings import MEANINGS
from vcarve.job.records import JobFile

DRAFT = "https://json-schema.org/draft/2020-12/schema"
_KINDS: dict[str, tuple[type[BaseModel], str]] = {
    "job": (JobFile, "Mizo job file"),
    "machine": (Machine, "Mizo machine file"),
}


def schema(kind: Literal["job", "machine"]) -> dict[str, Any]:
    """The JSON Schema of a job or a machine file."""
    record, title = _KINDS[kind]
    return schema_of(record, title)


def schema_of(record: type[BaseModel], title: str) -> dict[str, Any]:
    """The JSON Schema of any record that is written as YAML; keys are the aliases."""
    generated = record.model_json_schema(by_alias=True, mode="validation")
    sections: dict[str, Any] = generated.get("$defs", {})
    for name, section in (*sections.items(), (record.__name__, generated)):
        for key, meaning in MEANINGS.get(name, {}).items():
            described = section.get("properties", {}).get(key)
            if described is not None:
                inner = described.pop("description", None)
                described["description"] = f"{meaning} ({inner})" if inner else meaning
    return {"$schema": DRAFT, **generated, "title": title}
