"""What every record that people write is, and how one is built from a document, every wrong value told in plain words."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, Literal, Self, TypeVar, get_args, get_origin

from pydantic import BaseModel, ConfigDict, ValidationError, ValidationInfo, model_validator
from pydantic.fields import FieldInfo
from pydantic_core import core_schema

from vcarve.errors import InputError, Problem
from vcarve.job.document import Document, KeyPath, dotted, in_order, path_of
from vcarve.job.fields import BLANK, TEXT_WANTED, Reads, text

_UNIT = re.compile(r"_(mm|deg|rpm|s|n|mm_min|mm_s2)$")
# The context in which no name is looked up, and no single key keeps rules over several back.
SECOND_LOOK = object()
_DRAFT = "https://json-schema.org/draft/2020-12/schema"

AnyRecord = TypeVar("AnyRecord", bound=BaseModel)


def _add_measures(schema: dict[str, Any], kind: type[Record]) -> None:
    """Add to the meaning of a key what is read there, such as "a bare number is in mm"; leave out what may not be written."""
    for key, info in fields_of(kind).items():
        made = schema["properties"][key]
        read = next((mark.schema for mark in info.metadata if isinstance(mark, Reads)), {})
        forms = [form for form in made.pop("anyOf", ()) if form != {"type": "null"}]
        if len(forms) == 1:
            (read,) = forms
            made |= read | made
        elif forms:
            made["anyOf"] = forms
        # As written, the default of a section or of what the rest of the file decides would mean something else.
        if info.default is None or isinstance(info.default, BaseModel) or key in kind._worked_out:
            made.pop("default", None)
        if "description" in read:
            made["description"] += f" ({read['description']})"


class Record(BaseModel):
    """A frozen record; unknown keys are errors.

    The key that a person writes is the field's name with hyphens and without its unit: ``chip_low_mm`` is ``chip-low``.
    """

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        populate_by_name=True,
        alias_generator=lambda name: _UNIT.sub("", name).replace("_", "-"),
        json_schema_extra=_add_measures,
    )
    # Keys for which, left out, the rest of the file decides.
    _worked_out: ClassVar[frozenset[str]] = frozenset()

    @model_validator(mode="before")
    @classmethod
    def _empty(cls, data: Any) -> Any:
        return {} if data is BLANK else data

    def _broken(self) -> Iterator[Broken]:
        """Yield what is broken of the rules that join several keys, each of them right by itself."""
        return iter(())

    @model_validator(mode="after")
    def _rules_hold(self) -> Self:
        if broken := list(self._broken()):
            broken[0].others = tuple(broken[1:])
            raise broken[0]
        return self


@dataclass(frozen=True, slots=True, eq=False)
class Named:
    """What stands for a name: in an annotation such as ``Annotated[Bit, Named(find)]``.

    ``find`` takes a name and the folder of the file it stands in, and raises ``InputError`` for one that stands for nothing;
    unless ``spelled``, no record may stand there instead.  Only of what is ``listed`` there are some that come with Mizo.
    """

    find: Callable[[str, str], Any]
    spelled: bool = True
    listed: bool = True
    wanted: ClassVar[str] = TEXT_WANTED

    def found(self, value: Any, handler: Callable[[Any], Any], info: ValidationInfo) -> Any:
        """Return what a name stands for; the name itself where none is looked up."""
        if not (value is None or isinstance(value, Record) or (self.spelled and isinstance(value, dict))):
            name = text().validated(value)
            if info.context is SECOND_LOOK:
                return name
            value = self.find(name, info.context.folder if isinstance(info.context, Document) else ".")
        return handler(value)

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> core_schema.CoreSchema:
        return core_schema.with_info_wrap_validator_function(self.found, handler(source))

    def __get_pydantic_json_schema__(self, core: Any, handler: Any) -> dict[str, Any]:
        return {"anyOf": [handler(core), text().schema]} if self.spelled else text().schema


class Broken(ValueError):
    """A rule that joins several keys is broken; ``key`` is the one to point at, ``clash`` cannot stay with it.

    ``others`` are broken with it.
    """

    def __init__(self, key: str, sentence: str, *clash: str) -> None:
        super().__init__(sentence)
        self.key, self.clash = key, clash
        self.others: tuple[Broken, ...] = ()


def record_from(
    document: Document, kind: type[AnyRecord], tree: Mapping[str, Any] | None = None
) -> AnyRecord:
    """Build a record of ``kind`` from the document's tree; keys are the aliases.

    With a ``tree`` from that instead, which may hold records that are built already; problems are told at the document's keys.
    Raises ``InputError`` with every problem found, in the order of the lines.
    """
    problems: list[Problem] = []
    # Rules over several keys are told once every key is right by itself; neither a name that stands for nothing nor what a
    # whole section lacks is a reason to keep them back.
    for context in (document, SECOND_LOOK):
        try:
            made = kind.model_validate(
                document.tree if tree is None else tree, by_alias=True, by_name=False, context=context
            )
        except ValidationError as error:
            found = error.errors(include_url=False)
            problems += _problems(document, kind, found)
            if not any(isinstance(_raised(one), InputError | Broken) for one in found):
                break
        else:
            if not problems:
                return made
    raise InputError(in_order(problems))


def schema_of(kind: type[BaseModel], title: str) -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of a record as it is written, with which editors complete and check it."""
    made = kind.model_json_schema(by_alias=True, mode="validation")
    return {"$schema": _DRAFT, **made, "title": title}


# --- names ---


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word most like ``word``, or ``None`` when none is much like it."""
    words = {name.casefold(): name for name in known}
    near = difflib.get_close_matches(word.casefold(), words, n=1, cutoff=0.6)
    if near:
        return words[near[0]]
    starts = [name for folded, name in words.items() if len(word) > 1 and folded.startswith(word.casefold())]
    return starts[0] if starts else None


def unknown_name(what: str, word: str, known: Mapping[str, str]) -> str:
    """Say that no ``what`` has this name, with those called that, the nearest one, or the command that lists them.

    ``known`` has for each name what else it is called.
    """
    asked = _words(word)
    called = [name for name, more in known.items() if asked and asked <= _words(f"{name} {more}")]
    if len(called) > 1:
        return f"several {what}s are called that; write one of {', '.join(called)}"
    every = {part: [k for k in known if part in k.split("-")] for name in known for part in name.split("-")}
    near = called or (every | {name: [name] for name in known}).get(nearest(word, (*every, *known)) or "", [])
    hint = f"'mizo {what}s' lists them"
    if near:
        hint = f"did you mean {repr(near[0]) if len(near) == 1 else 'one of ' + ', '.join(near)}?"
    return f"unknown {what}; {hint}"


def _words(text: str) -> set[str]:
    return set(re.findall(r"[^\W_]+", text.casefold()))


# --- from pydantic's errors to problems ---


def _problems(
    document: Document, kind: type[BaseModel], found: Sequence[Mapping[str, Any]]
) -> Iterator[Problem]:
    """Yield what pydantic found wrong in a document."""
    for one in found:
        path, raised = one["loc"], _raised(one)
        if isinstance(raised, InputError):
            # A name that stands for nothing, or for a machine's file with faults, which have places of their own.
            for each in raised.problems:
                yield each if each.key or each.line else document.problem(path, each.want)
        elif isinstance(raised, Broken):
            for rule in (raised, *raised.others):
                hint = _dropping(document, path, (rule.key, *rule.clash))
                yield document.problem((*path, *path_of(rule.key)), f"{rule}{hint}")
        # A list is also told to be too short where each of its items is wrong.
        elif one["type"] != "too_short" or not any(
            path == inner["loc"][: len(path)] for inner in found if inner is not one
        ):
            yield document.problem(path, _wanted(kind, path, one))


def _raised(error: Mapping[str, Any]) -> object:
    """Return what a validator of ours raised; ``None`` for what pydantic found itself."""
    return error.get("ctx", {}).get("error")


def fields_of(section: type[BaseModel] | None) -> dict[str, FieldInfo]:
    """Return the fields of a record by the keys a person may write."""
    fields = {} if section is None else section.model_fields
    return {info.alias or name: info for name, info in fields.items()}


def section_of(info: FieldInfo | None) -> type[BaseModel] | None:
    """Return the record type inside a field's annotation such as ``tuple[Frame, ...]`` or ``Feed | None``."""
    if info is None or any(isinstance(mark, Named) and not mark.spelled for mark in info.metadata):
        return None
    parts = [info.annotation]
    for part in parts:
        if isinstance(part, type) and issubclass(part, BaseModel):
            return part
        parts += get_args(part)
    return None


def _record_at(kind: type[BaseModel], path: KeyPath) -> type[BaseModel] | None:
    """Return the type of the record that ``path`` (a section's) leads to."""
    at: type[BaseModel] | None = kind
    for part in path:
        if isinstance(part, str):
            at = section_of(fields_of(at).get(part))
    return at


def _wanted(kind: type[BaseModel], path: KeyPath, error: Mapping[str, Any]) -> str:
    """Say what is wrong with a value and what would be right."""
    inner, around = _record_at(kind, path), fields_of(_record_at(kind, path[:-1]))
    keys = f"its keys are {', '.join(fields_of(inner))}" if inner else "give it a value"
    match error["type"]:
        case "value_error":
            said, info = str(_raised(error)), around.get(str(path[-1]))
            if info is not None and any(isinstance(mark, Named) for mark in info.metadata):
                return said.replace(TEXT_WANTED, f"wanted is {info.description}")
            return said
        case "missing" if str(path[-1]) in around:
            info = around[str(path[-1])]
            if get_origin(info.annotation) is Literal:
                keys = f"one of {', '.join(get_args(info.annotation))}"
            wanted = next((mark.wanted for mark in info.metadata if isinstance(mark, Reads | Named)), keys)
            # Where a value may be a name, the meaning says what else it may be.
            more = "" if wanted == TEXT_WANTED else f"; {wanted}"
            return f"this key is missing: {info.description}{more}"
        case "missing":  # an item of a list, such as a point's second coordinate
            return "this key is missing; a list of two is wanted: [a, b]"
        case "extra_forbidden":
            return _unknown_key(kind, str(path[-1]), around)
        case "literal_error":
            return _one_of(error["input"], error["ctx"]["expected"])
        case "too_short":
            return "the list needs at least one item"
        case "too_long":
            return f"too many items; at most {error['ctx']['max_length']} are taken"
        case "tuple_type":
            return "a list is wanted: [a, b], or one item a line after '- '"
        case "model_type" | "dict_type":
            return f"a section of keys is wanted; {keys}"
    return "a value of another form is wanted here"


def _dropping(document: Document, section: KeyPath, clash: tuple[str, ...]) -> str:
    """Say how to take out what the file has of keys that clash, where the command line has set another of them."""
    from_file = [key for key in clash if document.place((*section, key)).line is not None]
    if len(from_file) in (0, len(clash)):
        return ""
    words = " ".join(f"--set {dotted((*section, key))}=" for key in from_file)
    return f"; {words} takes out what the file says"


def _unknown_key(kind: type[BaseModel], key: str, known: Iterable[str]) -> str:
    if key[:1].isdecimal():
        return "a comma ends a value here; write decimals with a point, such as 2.5 mm"
    if near := nearest(key, known):
        return f"unknown key; did you mean {near!r}?"
    at = _elsewhere(kind, key)
    return f"unknown key here; did you mean {at}?" if at else f"unknown key; known here: {', '.join(known)}"


def _elsewhere(kind: type[BaseModel], key: str) -> str:
    """Return where, in the uppermost sections that have it, a key belongs, in words; empty where it is in none."""
    sections: list[tuple[str, type[BaseModel]]] = [("", kind)]
    while sections:
        if found := [f"{name}{key}" for name, section in sections if key in fields_of(section)]:
            return " or ".join(dict.fromkeys(repr(one) for one in found))
        every = ((f"{name}{part}.", info) for name, at in sections for part, info in fields_of(at).items())
        one = ((name, info) for name, info in every if get_origin(info.annotation) is not tuple)
        sections = [(name, inner) for name, info in one if (inner := section_of(info))]
    return ""


def _one_of(written: Any, expected: str) -> str:
    """Say which words are taken; ``expected`` is pydantic's list, such as ``'a', 'b' or 'c'``."""
    words = expected.replace(" or ", ", ").replace("'", "").split(", ")
    near = nearest(written, words) if isinstance(written, str) else None
    hint = f"; did you mean {near!r}?" if near else ""
    lead = "no value given; " if written is BLANK else ""
    return f"{lead}one of {', '.join(words)} is wanted{hint}"
