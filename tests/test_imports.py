"""The rooms and what each may import, as a table that is checked against the code."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

import vcarve

PACKAGE = Path(__file__).parent.parent / "vcarve"

# A room or module -> the rooms and modules it may import.  `errors`, `plane.arrays` and the version are open to all.
MAY_IMPORT: dict[str, set[str]] = {
    "codes": set(),
    "errors": {"codes"},
    "files": set(),
    "quantity": set(),
    "job": {"quantity", "job"},
    "plane": {"plane"},
    "pattern": {"plane", "pattern", "job", "quantity"},
    "drawing": {"plane", "drawing", "pattern", "job", "quantity"},
    "network": {"plane", "network", "pattern", "quantity"},
    "groove": {"plane", "groove", "network", "pattern", "job", "quantity"},
    "cuts": {"plane", "cuts", "groove", "network", "job"},
    "cuts.model": {"plane"},  # the plan knows nothing of networks, however indirectly
    "plan": {"plane", "plan", "mount", "cuts.model", "job", "quantity"},
    "mount": {"mount", "job", "plane"},
    "program.grammar": set(),
    "program.moves": {"program.grammar"},
    "program.text": {"plane", "program.grammar"},
    "program.writer": {"plane", "plan", "mount", "cuts.model", "job", "program.text", "program.grammar"},
    "program.trace": {"plane", "job", "program.writer", "program.text"},
    "program.probing": {"plane", "job", "program.writer", "program.text", "program.grammar"},
    # The reader's side shares the grammar with the writer and nothing else.
    "program": {"program.grammar", "program.moves", "program reader side"},
    "dryrun": {
        "plane",
        "dryrun",
        "program.moves",
        "program reader side",
        "program.grammar",
        "network",
        "groove",
        "job",
        "quantity",
    },
    "coupon": {"plane", "coupon", "layout", "drawing", "network", "groove", "job", "quantity"},
    "solid": {"solid", "panel", "plane", "groove", "network", "layout", "job", "quantity"},
    "panel": {"plane", "panel", "layout", "network", "groove", "job", "quantity"},
    "view": {"plane", "view", "values", "quantity"},
    "layout": {"layout", "plane", "job", "mount", "drawing", "pattern", "network", "groove", "quantity"},
    "report": {"everything but cli"},
    "run": {"everything but cli"},
    "proofing": {"everything but cli"},
    "pipeline": {"everything but cli"},
    "resume": {"everything but cli"},
    "drawn": {"everything but cli"},
    "serve": {"everything but cli"},
    "cli": {"everything"},
    "__main__": {"cli"},
}
WRITER_SIDE = {"program.writer", "program.text", "program.trace", "program.probing"}
ROOMS_OF_VALUES = {
    "job",
    "pattern",
    "network",
    "groove",
    "cuts",
    "plan",
    "mount",
    "program.moves",
    "dryrun",
    "layout",
    "coupon",
    "panel",
    "run",
}


def modules() -> dict[str, Path]:
    """Return every module of the package by its dotted name without the package's own."""
    found = {}
    for path in PACKAGE.rglob("*.py"):
        parts = path.relative_to(PACKAGE).with_suffix("").parts
        if parts[-1] == "__init__":
            parts = parts[:-1]
        found[".".join(parts)] = path
    return found


def imports(path: Path, *, top_level_only: bool = False) -> set[str]:
    """Return the package's modules that a file imports, anywhere or at its top level only."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    known = modules()
    found = set()
    nodes = ast.walk(tree) if not top_level_only else iter(tree.body)
    for node in nodes:
        if isinstance(node, ast.Import):
            names: list[tuple[str, str | None]] = [(alias.name, None) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            names = [(node.module or "", alias.name) for alias in node.names]
        else:
            continue
        for module, name in names:
            if not module.startswith("vcarve"):
                continue
            short = module.removeprefix("vcarve").removeprefix(".")
            inner = f"{short}.{name}".lstrip(".") if name else short
            target = inner if inner in known else short
            if target:
                found.add(target)
    return found


def rule_of(module: str) -> str:
    """Return the row of the table that governs a module: the longest one that fits."""
    parts = module.split(".")
    for length in range(len(parts), 0, -1):
        name = ".".join(parts[:length])
        if name in MAY_IMPORT:
            return name
    raise AssertionError(f"{module} is in no room")


def allowed(rule: str, target: str) -> bool:
    """Tell whether the table lets a rule's modules import a target."""
    may = MAY_IMPORT[rule]
    if target in ("errors", "plane.arrays") or "everything" in may:
        return True
    room = target.split(".")[0]
    if "everything but cli" in may:
        return room != "cli"
    if target in may or room in may:
        return room != "program" or target in may
    if room == "program" and "program reader side" in may:
        return target not in WRITER_SIDE
    if "values" in may:
        return room in ROOMS_OF_VALUES or target in ROOMS_OF_VALUES
    return False


@pytest.mark.parametrize("module", sorted(name for name in modules() if name))
def test_a_module_imports_only_what_its_room_may(module: str) -> None:
    """Every import of the package, at the top or inside a function, is one that the table lists."""
    forbidden = {target for target in imports(modules()[module]) if not allowed(rule_of(module), target)}

    assert forbidden == set()


@pytest.mark.parametrize(
    ("room", "never"),
    [
        ("dryrun", ("cuts", "plan.", "mount", *sorted(WRITER_SIDE))),
        ("plan", ("pattern", "drawing", "network", "groove", "dryrun")),
    ],
)
def test_a_room_cannot_reach_what_it_must_not_know(room: str, never: tuple[str, ...]) -> None:
    """Loading all of the dry run loads nothing that planned or wrote, and the plan knows no patterns, however indirectly."""
    names = [f"vcarve.{name}" for name in modules() if name.split(".")[0] == room]
    code = (
        f"import importlib, sys\nfor name in {sorted(names)!r}: importlib.import_module(name)\n"
        f"print([m for m in sys.modules if m.startswith({tuple(f'vcarve.{name}' for name in never)!r})])"
    )

    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout

    assert loaded.strip() == "[]"


def test_no_import_cycle() -> None:
    """No chain of imports leads from a module back to itself."""
    graph = {name: imports(path) for name, path in modules().items()}
    done: set[str] = set()

    def walk(name: str, trail: tuple[str, ...]) -> None:
        assert name not in trail, " -> ".join((*trail, name))
        if name in done:
            return
        for target in sorted(graph.get(name, ())):
            walk(target, (*trail, name))
        done.add(name)

    for name in sorted(graph):
        walk(name, ())


def test_the_guide_has_a_row_for_every_room() -> None:
    """The rooms that DEVELOPERS.md describes are the folders and modules there are, each named once."""
    guide = (PACKAGE.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    rows = [line.split("|")[1] for line in guide.splitlines() if line.startswith("| `")]
    named = [name.strip(" `") for row in rows for name in row.split(",")]
    there = {f"{path.name}/" for path in PACKAGE.iterdir() if (path / "__init__.py").is_file()}
    there |= {path.name for path in PACKAGE.glob("*.py")} - {"__init__.py"}

    assert sorted(named) == sorted(there)


def test_what_the_guide_names_is_there() -> None:
    """Every module, and every name in a module, that DEVELOPERS.md sends a reader to stands where it says."""
    guide = (PACKAGE.parent / "DEVELOPERS.md").read_text(encoding="utf-8").split("## Changes")[0]
    files = {path.relative_to(PACKAGE).as_posix(): path.read_text("utf-8") for path in PACKAGE.rglob("*.py")}
    lost = []
    for *module, name in (word.split(".") for word in re.findall(r"`((?:[a-z_]+\.)+\w+)`", guide)):
        ways = [f"{'/'.join([*module, name])}.py", f"{'/'.join(module)}.py"]
        found = {way: [path for path in files if f"/{path}".endswith(f"/{way}")] for way in ways}
        known = any(
            re.search(rf"\b(?:def|class) {name}\b|^{name}\b", files[path], re.M) for path in found[ways[1]]
        )
        if name not in ("py", "js", "yaml", "md") and not found[ways[0]] and not known:
            lost.append(".".join([*module, name]))

    assert lost == []


@pytest.mark.parametrize(
    "package", sorted(str(p.parent.relative_to(PACKAGE)) for p in PACKAGE.rglob("__init__.py"))
)
def test_package_files_hold_a_docstring_only(package: str) -> None:
    """A package's own file explains the room and re-exports nothing; the root offers by name what is loaded when used."""
    tree = ast.parse((PACKAGE / package / "__init__.py").read_text(encoding="utf-8"))

    assert ast.get_docstring(tree)
    assert package == "." or len(tree.body) == 1


def test_the_root_says_the_same_types_as_it_loads() -> None:
    """What the root imports for type checkers alone is what it offers, from the same modules, and no room hides a name."""
    tree = ast.parse((PACKAGE / "__init__.py").read_text(encoding="utf-8"))
    types = next(node for node in tree.body if isinstance(node, ast.If))
    said = {
        alias.name: (node.module or "").removeprefix("vcarve.")
        for node in types.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }

    assert ast.unparse(types.test) == "TYPE_CHECKING"
    assert said == vcarve._HOME
    assert not set(said) & {name.split(".")[0] for name in modules()}


def test_mizo_width_loads_no_heavy_library() -> None:
    """The bench question is answered without the libraries that only other commands need."""
    code = (
        "import sys\nfrom vcarve.cli.main import cli\n"
        "cli(['width', '--angle', '90', '--depth', '2'], standalone_mode=False)\n"
        "print(sorted(set(sys.modules) & {'numpy', 'pydantic', 'shapely', 'scipy', 'yaml', 'pymatching', 'PIL'}))"
    )

    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout

    assert out.splitlines()[-1] == "[]"
