"""An XML drawing as a plain tree, with everything refused that could reach outside the file or grow without end.

Entities and an internal document type subset are refused before they are used; a plain document type line is let through,
because nothing is ever fetched for it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from xml.parsers import expat

from vcarve.errors import InputError, Problem

DEEPEST = 100  # elements inside elements


@dataclass(frozen=True, slots=True, kw_only=True)
class Node:
    """One element: its local name, its attributes by local name, its line in the file, its text and its children."""

    tag: str
    attributes: dict[str, str]
    line: int
    text: list[str] = field(default_factory=list)
    children: list[Node] = field(default_factory=list)


def read_tree(content: bytes, name: str) -> list[Node]:
    """Return the elements of the XML in ``content`` in their order, the root first; ``name`` is the file's name for messages.

    Raises ``InputError`` for text that is not XML, for entities, for style sheets outside the file, and for elements
    nested deeper than ``DEEPEST``.
    """
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.buffer_text = True
    stack: list[Node] = []
    every: list[Node] = []

    def refuse(want: str, value: str | None = None) -> None:
        raise InputError(Problem(want=want, file=name, line=parser.CurrentLineNumber, value=value))

    def doctype(title: str, system: str | None, public: str | None, subset: bool) -> None:
        if subset:
            refuse(
                "a drawing must not bring its own document type with entities; save it as plain SVG", title
            )

    def entity(title: str, *rest: object) -> None:
        refuse("a drawing must not define entities; save it as plain SVG", title)

    def instruction(target: str, data: str) -> None:
        if target == "xml-stylesheet":
            refuse("the drawing asks for a style sheet outside the file; put the styles into the file", data)

    def start(tag: str, attributes: dict[str, str]) -> None:
        if len(stack) >= DEEPEST:
            refuse(f"elements are nested more than {DEEPEST} deep; ungroup the drawing")
        # Attributes without a namespace come last, so they win over one of the same local name.
        ordered = sorted(attributes.items(), key=lambda pair: " " not in pair[0])
        local = {key.rpartition(" ")[2]: value for key, value in ordered}
        node = Node(tag=tag.rpartition(" ")[2], attributes=local, line=parser.CurrentLineNumber)
        for outer in stack[-1:]:
            outer.children.append(node)
        every.append(node)
        stack.append(node)

    parser.StartDoctypeDeclHandler = doctype
    parser.EntityDeclHandler = entity
    parser.ProcessingInstructionHandler = instruction
    parser.StartElementHandler = start
    parser.EndElementHandler = lambda tag: stack.pop()
    parser.CharacterDataHandler = lambda text: stack[-1].text.append(text)
    try:
        parser.Parse(content, True)
    except InputError:
        raise
    except (expat.ExpatError, ValueError, LookupError) as error:
        line = error.lineno if isinstance(error, expat.ExpatError) else None
        reason = expat.ErrorString(error.code) if isinstance(error, expat.ExpatError) else error
        raise InputError(Problem(want=f"this is not readable XML ({reason})", file=name, line=line)) from None
    return every
