"""The dry run never sees the plan or the writer, only the text: one mistake cannot hide on both sides."""

import ast
from pathlib import Path

import pytest

import vcarve

ROOMS = Path(vcarve.__file__).parent
ALLOWED = (
    "vcarve.errors",
    "vcarve.quantity",
    "vcarve.job",
    "vcarve.plane",
    "vcarve.network",
    "vcarve.groove",
    "vcarve.program.grammar",
    "vcarve.program.moves",
    "vcarve.program.reader",
    "vcarve.dryrun",
)


@pytest.mark.parametrize("module", sorted((ROOMS / "dryrun").glob("*.py")), ids=lambda path: path.stem)
def test_only_what_the_dry_run_may_know(module):
    """Every module of the dry run imports from the rooms it may, and by full module name."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0
            names.add(str(node.module))
    ours = {name for name in names if name.split(".")[0] == "vcarve"}

    assert {
        name for name in ours if not any(name == ok or name.startswith(ok + ".") for ok in ALLOWED)
    } == set()
