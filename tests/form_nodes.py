"""The nodes of the bench page's form, one after the other."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain
from typing import Any


def every(nodes: list[dict[str, Any]]) -> Iterator[dict[str, Any]]:
    """Yield nodes and all that lie in them."""
    for node in nodes:
        yield node
        inside = chain(node.get("fields", ()), node.get("item", {}).get("fields", ()))
        yield from every(list(inside))
