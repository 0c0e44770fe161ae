"""What every record of a job is: frozen, its unknown keys errors, with rules that join several keys."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, model_validator
from pydantic_core import PydanticCustomError

from vcarve.job.fields import BLANK


def refuse(key: str, sentence: str, *clash: str) -> PydanticCustomError:
    """Build the error of a rule that joins several keys; ``key`` is the one to point at, ``clash`` cannot stay with it."""
    return PydanticCustomError("rule", "{sentence}", {"sentence": sentence, "at": key, "clash": clash})


class Record(BaseModel):
    """A frozen record; unknown keys are errors; fields may be given by key or by field name."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    @model_validator(mode="before")
    @classmethod
    def _empty(cls, data: Any) -> Any:
        return {} if data is BLANK else data
