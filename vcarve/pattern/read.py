"""Pattern files read from disk, every problem with its file and line."""

from __future__ import annotations

from pathlib import Path

from pydantic import ValidationError

from vcarve.errors import InputError, Problem
from vcarve.job.document import Document, KeyPath, parse_document, read_document
from vcarve.pattern.expand import expand
from vcarve.pattern.file import PatternFile
from vcarve.pattern.model import Pattern

_SENTENCES = {
    "missing": "this key is missing",
    "extra_forbidden": "a pattern file has no such key here",
    "string_type": "a text is wanted",
    "string_too_short": "a text is wanted",
    "string_too_long": "this text is too long",
    "string_pattern_mismatch": "write lower-case letters, digits and hyphens, such as own-leaf",
    "too_long": "there are too many entries here",
    "tuple_type": "a list in square brackets is wanted",
    "model_type": "keys and values are wanted",
}


def load_pattern_file(path: str | Path) -> Pattern:
    """Return the pattern a YAML file describes.

    Raises ``InputError`` with file, line, key path and value of everything that is wrong.
    """
    return _pattern(read_document(str(path)))


def read_pattern(data: bytes, file: str) -> Pattern:
    """Return the pattern that YAML text describes; ``file`` is the name to show in problems."""
    return _pattern(parse_document(data, file=file))


def _pattern(document: Document) -> Pattern:
    try:
        return expand(PatternFile.model_validate(document.tree))
    except ValidationError as error:
        problems: list[Problem] = []
        for fault in error.errors(include_url=False):
            path = _written_path(document, fault["loc"])
            want = _SENTENCES.get(fault["type"], fault["msg"].removeprefix("Value error, "))
            if fault["type"] == "literal_error":
                want = f"write {fault['ctx']['expected']}"
            problem = document.problem(path, want)
            if problem not in problems:
                problems.append(problem)
        raise InputError(problems) from None
    except InputError as error:
        raise InputError(_placed(document, problem) for problem in error.problems) from None


def _placed(document: Document, problem: Problem) -> Problem:
    if problem.file is not None:
        return problem
    parts = (problem.key or "").split(".")
    path: KeyPath = tuple(int(part) if part.isdecimal() else part for part in parts if part)
    return document.problem(path, problem.want, problem.value)


def _written_path(document: Document, place: tuple[int | str, ...]) -> KeyPath:
    """Drop what pydantic adds for the alternatives of a union; a missing key keeps its name."""
    path: KeyPath = ()
    for part in place:
        longer = (*path, part)
        if longer in document.places:
            path = longer
        elif part == place[-1] and isinstance(part, str) and "[" not in part and path == place[:-1]:
            return longer
    return path
