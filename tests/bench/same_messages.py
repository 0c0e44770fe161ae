"""What makers read, for many good and bad jobs, machines, quantities and calls: what a change of the code leaves as it is.

Every key of a job and of a machine with every value of a list, or missing; the jobs of ``tests/job/wrong``; broken
texts; every command's help, lists, starters, schemas; calls with wrong options; what a program's numbers alone forbid.

Usage: same_messages.py FILE.json            writes what is said
       same_messages.py FILE.json --compare  asks again and shows every answer that is another
"""

from __future__ import annotations

import difflib
import itertools
import json
import os
import shlex
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import yaml
from click.testing import CliRunner

from vcarve import quantity
from vcarve.cli.main import COMMANDS, cli
from vcarve.job.bench import load_machine
from vcarve.job.document import document_of, parse_document
from vcarve.job.records import load_job
from vcarve.job.suitability import suitability
from vcarve.pattern.model import pattern

ROOT = Path(__file__).parent.parent.parent
VALUES = (
    "", "x", "-1", "0", "1", "3", "40", "1e9", "1e-9", "0.0004", "1,5 mm", "12,000", "1/8", "1/8 in", "1 1/4 in",
    "½ in", "true", "yes", "null", "12 kg", "5 deg", "600 rpm", "10 in/min", "30 %", "about 22 mm", "~ 3", "[1, 2]",
    "[]", "{a: 1}", "{}", "{", "front-lef", "center", "centre", "inches", "inch", "rounded", "circle", "drawing",
    "allow", "never", "nan", "inf", "-7 mm", "small-desktp", "v60", "maple", "cherry-black", "asanoah", "Asanoha",
    "./no.yaml", "mill.yaml", "tile.yaml", "x" * 201, "a\tb", '\xe9\u202e', "100", "170.5", "46", "#ffffff",
    "'two\\nlines'", "[{distance: 3, depth: 1}, {distance: 0}]", "[{distance: 44}, {distance: 45}]",
    "{outer: 1, inner: x}", "1.5", "2.0 in", "90", "-0.00001", "0.00001", "[{x: 1}]",
    "[{x: 1, y: 2, width: 3, height: 4, above: 4}]", "[{x: 1, y: 2, width: 3, height: 4, above: 9}]",
    "{angle: 60, diameter: 3, shank: 3.175, tip: 3}", "{angle: 60, diameter: 3, shank: 3.175, tip: 1, tip-radius: 1}",
    "{angle: 60 deg, diameter: 3, shank: 5, tip-radius: 2}",
    "{angle: 20, diameter: 3, shank: 3.175, tip: 0.1, flutes: 9}",
    "{title: Pear, chip-low: 0.02 mm, chip-high: 0.06 mm, plunge-share: 30 %, step: 2 mm}",
    "{title: Pear, chip-low: 0.02 mm, chip-high: 0.01 mm, plunge-share: 300 %, step: 2 mm, tint: blue}",
)  # fmt: skip
JOB_KEYS = """
piece piece.width piece.height piece.thickness piece.wood piece.outline piece.outline.shape piece.outline.radius
piece.outline.sides piece.outline.turn piece.outline.file piece.outline.layer title units pattern pattern.name
pattern.drawing pattern.depths pattern.close-gaps pattern.lost-lines pattern.pitch pattern.across pattern.edge
pattern.ends pattern.margin pattern.frame pattern.rotate pattern.shift-x pattern.shift-y pattern.mirror groove
groove.depth groove.ground groove.leaf groove.step groove.taper groove.lost-land bit bit.angle machine feed feed.cut
feed.plunge feed.spindle zero zero.xy zero.z zero.turn plan plan.recut plan.hop clamps clamps.0.x pitch groove.deep
width shape piece.colour cut_mm_min document folder files piece.width_mm wood lost-land hop a..b
"""
MACHINE_KEYS = """
name title travel travel.x travel.z rapid rapid.y acceleration acceleration.z junction-deviation feed-max feed-max.x
spindle spindle.min spindle.max spindle.spin-up spindle.programmed collets safe-height step-share dialect decimals
units arcs arc-tolerance program-end colour
"""
PAIRS = (
    ("pattern.drawing=a.svg",), ("pattern.pitch=", "pattern.across=5"),
    ("pattern.pitch=", "pattern.across=5", "pattern.frame=[{distance: 3, depth: 1}]", "groove.step=0.2"),
    ("pattern.name=", "pattern.pitch=", "pattern.drawing=a.svg"),
    ("pattern.name=", "pattern.pitch=", "pattern.drawing=a.svg", "groove.depth="),
    ("pattern.name=", "pattern.pitch=", "pattern.drawing=a.svg", "groove.depth=", "pattern.depths={a: 1}"),
    ("pattern.name=", "pattern.pitch=", "pattern.drawing=a.svg",
        "groove.depth=", "pattern.depths={a: 1, b: 2 mm}", "pattern.frame=[{distance: 2}]"),
    ("pattern.name=", "pattern.pitch=", "pattern.drawing=a.svg", "pattern.lost-lines=allow", "groove.depth=1"),
    ("groove.depth=", "groove.ground=1.2", "groove.leaf=0.8"), ("groove.ground=1.2", "groove.leaf=0.8"),
    ("groove.depth=", "groove.leaf=0.8"), ("piece.outline.shape=rounded", "piece.outline.radius=8"),
    ("piece.outline.shape=rounded", "piece.outline.radius=80"), ("piece.outline.shape=circle", "zero={}"),
    ("piece.outline.shape=circle", "piece.width=80"),
    ("piece.outline.shape=polygon", "piece.outline.sides=6", "piece.outline.turn=30"),
    ("piece.outline.shape=polygon", "piece.outline.sides=6", "zero.xy=back-left"),
    ("piece.outline.shape=polygon", "piece.outline.radius=6"),
    ("piece.outline.shape=drawing", "piece.outline.file=a.svg", "piece.outline.layer=cut"),
    ("pattern.margin=44", "pattern.frame=[{distance: 3}]"), ("machine=gantry-router", "groove.depth=3"),
    ("machine=rs274-mill", "groove.depth=3", "units=inch"), ("machine=router-3018", "bit=v90-6.35"),
    ("bit=v30-tip02",), ("bit=v30-tip02", "feed.cut=30"), ("bit=v30-tip02", "feed.spindle=3000"), ("bit=v90-12.7",),
    ("bit=v90-6.35",), ("groove.depth=0.0001",), ("groove.depth=12",), ("groove.depth=8.5",), ("groove.step=0.001",),
    ("groove.step=0.8", "groove.depth=2.4"), ("groove.step=9", "groove.depth=2.4"), ("piece.width=400",),
    ("piece.width=295", "piece.height=178"),
    ("piece.width=400", "pattern.margin=30", "pattern.frame=[{distance: 20}]"), ("feed.cut=5000",),
    ("feed.plunge=5000",), ("feed.spindle=50000",), ("feed.spindle=100",), ("feed.cut=100", "feed.plunge=300"),
    ("feed.cut=10",), ("units=inch", "feed.cut=10"), ("units=inch", "feed.cut=5000"),
    ("units=inch", "groove.depth=12"), ("clamps=[{x: 1, y: 2, width: 3, height: 4, above: 9}]",),
    ("clamps=[{x: 1, y: 2, width: 3, height: 4, above: 3.8}]", "plan.hop=2"), ("plan.hop=5.1",), ("plan.hop=5",),
    ("zero.turn=-3", "zero.xy=centre"), ("pattern.pitch=about 18 mm",),
    ("piece.wood={title: Pear, chip-low: 0.02 mm, chip-high: 0.06 mm, plunge-share: 30 %, step: 2 mm}", "groove.depth=3"),
    ("piece.wood={title: Pear}",), ("bit={angle: 60}",), ("bit={angle: 60, diameter: 4, shank: 7}",),
    ("groove.depth",), ("=1",), ("groove.depth=1", "groove.depth=x"), ("title=\u001b[31m",), ('title=a\xa0b',),
    ("title.a=1",), ("clamps.3.x=1",), ("pattern.frame=[{distance: 3}]", "pattern.frame.0.depth=x"),
    ("pattern.frame=[{distance: 3}]", "pattern.frame.1=x"), ("pattern.frame=[{distance: 3}]", "pattern.frame.0=x"),
)  # fmt: skip
TEXTS = (
    "", "#\n", "a", "- a\n", "piece: [", "piece: {", "title: \"a", "title: 'a", "\tpiece: 1", "piece:\n\twidth: 1",
    "piece: a: b", "a: 1\na: 2", "a: &x 1\nb: *x", "a: !!str 1", "a: 1\n---\nb: 2", "title: %a", "title: @a",
    "title: \"\\q\"", "piece\ntitle: x", "? [1]\n: 2", "{a: 1}: 2", "a:\n  b: 1\n c: 2", "title: |\n  two\n  lines",
    "a: " + "[" * 30, "title: \u0007", "title: \"\\x07\"", "*a : 1", "piece: {width: 1,5}",
    "%YAML 1.1\n---\npiece: 1", "~: 1", "1: 2", "piece: ~\npattern: null\ngroove:\nbit:\nmachine:\ntitle:",
    "piece:\npattern: {}\nclamps:\nclamps: []",
    "title: a\npiece: x\nunits: INCH\nfeed: 3\nclamps: {}\nbit: [a]\nmachine: {a: 1}",
)  # fmt: skip
WORDS = (
    "", " ", "1", "-1", "+2", "2.5", ".5", "5.", "1e3", "1e400", "1e-9", "1/8", "1 1/8", "1-1/8", "1/0 in", "½",
    "2¼ in", "1,5", "1,500", "12 000", "1_000", "1'000", "1.234,5", "2,5 mm", "x", "mm", "5 mmm", "5 mm", "5 MM",
    "5 in", "5\"", "5''", "5 cm", "5 m", "5 thou", "5 um", "5 deg", "5°", "1 rad", "5 rpm", "5 1/min", "5 rev / min",
    "5 mm/min", "5 mm/s", "24 in / min", "24 ipm", "5 mm/s2", "5 mm/s²", "10 in/s^2", "5 s", "5 ms", "2 min", "30 %",
    "30 percent", "2000 m", "-0", "9" * 70, "5 {", "5 parsec", "about 3 mm", "~3", "1e5 km",
)  # fmt: skip
CALLS = """\
--help
--version
progam
zzz
--wide
program
program no.yaml
program tile.yaml -o x.pdf
program tile.yaml -o tile.yaml
program tile.yaml -o no/x.nc
program tile.yaml -o folder
program tile.yaml -o x.nc --page x.nc
program tile.yaml -o - --picture -
program folder
program tile.yaml
program tile.yaml --json
program tile.yaml -o tile.nc --picture tile.svg --set units=inch
program tile.yaml -o -
program tile.yaml -o - --json
program tile.yaml --picture -
program tile.yaml --set feed.cut=5000 -o y.nc
program tile.yaml --set feed.cut=5000
program tile.yaml --set feed.cut=5000 -o y.nc --picture y.svg
program tile.yaml --set feed.cut=5000 --json
program tile.yaml --set feed.cut=5000 -o - --picture y.svg
program mill.yaml
program tile.nc
program own.yaml
program a.svg
program a.png
program tile.yaml --set machine=tile.yaml
program tile.yaml --set pattern.name=mill.yaml
program tile.yaml --set pattern.name=no.yaml
program tile.yaml --set machine=no.yaml
program tile.yaml --set pattern.name=bad-own.yaml
program tile.yaml --set machine=bad-mill.yaml --set groove.depth=x
program tile.yaml --set 'piece.outline={shape: drawing, file: no.svg}'
lines tile.yaml
lines tile.yaml -o t.svg
lines tile.yaml -o t.dxf
lines tile.yaml -o t.png
lines tile.yaml -o -
dry-run
dry-run no.nc
dry-run tile.nc
dry-run tile.nc --json
dry-run tile.nc --machine small-desktop
dry-run tile.nc --machine mill.yaml
dry-run tile.nc --machine zzz
dry-run tile.nc --picture p.png --step 0.1 --heights h.npy
dry-run tile.nc --set title=a
dry-run tile.nc --job tile.yaml --machine small-desktop
dry-run - --job -
dry-run tile.nc --job tile.yaml --step 9
dry-run tile.nc --job tile.yaml --step x
dry-run tile.nc --job tile.yaml --step 0.5 --picture p.png --heights h.npy
dry-run tile.nc --job tile.yaml --step 0.5 --json --heights -
dry-run tile.nc --job tile.yaml --step 0.5 --picture p.svg
dry-run tile.nc --job tile.yaml --step 0.5 --set feed.cut=5000
dry-run bad.nc
dry-run bad.nc --json
dry-run tile.nc --job tile.yaml --step 0.005 --set piece.width=4000
dry-run wrong.nc
dry-run empty.nc
dry-run nul.nc
dry-run tile.yaml
dry-run mill.yaml
dry-run a.svg
dry-run tile.nc --page tile.nc
dry-run named.nc
dry-run unnamed.nc
patterns
patterns --json
patterns asanoha
patterns asanoha --json
patterns asanoah
patterns -o n.yaml
patterns asanoha -o n1.yaml
patterns asanoha -o n.nc
patterns --picture n.svg
patterns asanoha --picture n.gif
patterns asanoha --picture n.svg -o n2.yaml --json
patterns asanoha -o - --json
patterns own.yaml
patterns bad-own.yaml
patterns tile.yaml
patterns own.yaml -o own.yaml
patterns no.yaml
machines
machines --json
machines small-desktop
machines small-desktop --json
machines small-desktop -o n3.yaml
machines small-desktop -o - --json
machines -o n.yaml
machines small
machines bad-mill.yaml
machines tile.yaml
machines own.yaml
machines mill.yaml -o mill.yaml
machines no.yaml
bits
bits --json
woods
woods --json
new
new --machine
new --pattern
new --machine --pattern
new tile.yaml
new x/y.yaml
new a.txt
new 'my new.yaml'
new --machine 'm 2.yaml'
new --pattern p2.yaml
new 'my new.yaml' --force
schema
schema job
schema machine
schema pattern
schema x
completion bash
completion zsh
completion fish
completion x
width
width --angle 90
width --angle 90 --depth 2
width --angle 90 --width 2
width --angle 90 --depth '1/16 in'
width --angle 90 --depth 2 --width 2
width --bit v60-3.175 --depth 0.8
width --bit v60-3.175 --depth 8 --json
width --bit v60 --depth 8
width --angle 0
width --angle x
width --angle 60 --tip 0.2 --diameter 3 --width '1/8 in'
width --angle 60 --tip-radius 0.2 --depth 0.01
width --angle 60 --tip-radius 0.2 --tip 0.1
width --bit v60-ball25 --tip 0.1
width --angle 60 --tip 4 --diameter 3
width --angle 60 --depth 1/16
width --angle 60 --width 0.1 --tip 0.3
"""
READ = [
    "title",
    "name",
    "figures",
    "piece",
    "bit",
    "machine",
    "zero",
    "clamps",
    "depths_mm",
    "step_mm",
    "taper_mm",
    "speeds",
    "hop_mm",
    "folder",
    "files",
]


def plain(value: Any) -> Any:
    """Return a value of a record as JSON has it."""
    if isinstance(value, quantity.Figures):
        return value.unit
    if hasattr(value, "model_dump"):
        return {key: plain(getattr(value, key)) for key in type(value).model_fields}
    return (
        [plain(one) for one in value]
        if isinstance(value, tuple)
        else value
        if isinstance(value, float | int)
        else str(value)
    )


def answer(ask: Callable[..., Any], *given: Any) -> Any:
    """Return what a call returns, or the error it raises, in words."""
    try:
        return ask(*given)
    except ValueError as error:
        return f"{type(error).__name__}: {error}"


def job(*source: Any) -> Any:
    """Return a job's every value and what its numbers alone forbid."""
    made = load_job(*source)
    reach = (60.0, 90.0) if made.zero.turn_deg else None
    values = {key: plain(getattr(made, key)) for key in READ}
    return values | {"findings": [str(one) for one in suitability(made, 3.0, reach)]}


def jobs() -> Iterator[tuple[str, Any]]:
    """Yield the answers to jobs, good and bad."""
    for key, value in itertools.product(JOB_KEYS.split(), VALUES):
        yield f"job {key}={value}", answer(job, "tile.yaml", [f"{key}={value}"])
    for sets in PAIRS:
        yield f"job {sets}", answer(job, "tile.yaml", sets)
    for text in TEXTS:
        Path("text.yaml").write_text(text)
        yield f"text {text!r}", answer(job, "text.yaml")
        yield f"pattern text {text!r}", answer(lambda: str(pattern("text.yaml"))[:200])
    tree = yaml.safe_load(Path("tile.yaml").read_text())
    changes: list[dict[Any, Any]] = [{"groove": {"depth": -1}}, {"bit": None}, {3: 4}, {(1, 2): 4}]
    changes += [
        {},
        {"title": float("nan")},
        {"title": Path("a")},
        {"piece": {"width": 60.0}},
        {"machine": "a"},
    ]
    for change in changes:
        yield f"dict {change}", answer(job, tree | change, ["groove.step=0.4"])
    yield "latin-1", answer(parse_document, "title: é".encode("latin-1"))
    yield "large", answer(parse_document, b"#" * 300000)
    yield "deep", answer(document_of, json.loads('{"a":' * 40 + "1" + "}" * 40))
    folder = Path.cwd()
    os.chdir(ROOT / "tests" / "job" / "wrong")
    for path in sorted(Path().glob("*.yaml")):
        yield f"wrong {path}", answer(job, str(path))
    os.chdir(folder)


def machines() -> Iterator[tuple[str, Any]]:
    """Yield the answers to machine files in which a key is another or missing."""
    mill = yaml.safe_load(Path("mill.yaml").read_text())
    for key, value in itertools.product(MACHINE_KEYS.split(), (None, *VALUES)):
        changed = json.loads(json.dumps(mill))
        *outer, last = key.split(".")
        at = changed[outer[0]] if outer else changed
        if value is None:
            at.pop(last, None)
        else:
            at[last] = (
                yaml.load(value, yaml.BaseLoader) if value[:1] in ("{", "[") and value != "{" else value
            )
        Path("one.yaml").write_text(yaml.safe_dump(changed))
        yield f"machine {key}={value}", answer(lambda: plain(load_machine("one.yaml")))


def asked() -> Iterator[tuple[str, Any]]:
    """Yield the name and the answer of everything that is asked."""
    yield from jobs()
    yield from machines()
    kinds = ("LENGTH", "ANGLE", "FEED", "ACCELERATION", "SPEED", "TIME", "SHARE", "NUMBER")
    for kind, word in itertools.product(kinds, WORDS):
        yield f"{kind} {word}", answer(quantity.read, getattr(quantity, kind), word)
    for ask, word in itertools.product(
        (quantity.whole_number, quantity.wished_length_mm, quantity.in_inches), WORDS
    ):
        yield f"{ask.__name__} {word}", answer(ask, word)
    calls = [[], *map(shlex.split, CALLS.splitlines()), *([name, "--help"] for name in COMMANDS)]
    for words in calls:
        done = CliRunner().invoke(cli, words, prog_name="mizo")
        fault = "" if isinstance(done.exception, SystemExit | None) else repr(done.exception)
        said = done.stdout_bytes.decode("utf-8", "replace").splitlines(), done.stderr.splitlines()
        yield f"mizo {shlex.join(words)}", [f"exit code {done.exit_code}", *said[0], "--", *said[1], fault]


def prepare() -> None:
    """Lay the files out that are asked about."""
    shutil.copy(ROOT / "samples" / "coaster.yaml", "tile.yaml")
    shutil.copy(ROOT / "machines" / "small-desktop.yaml", "mill.yaml")
    shutil.copy(ROOT / "vcarve" / "pattern" / "data" / "asanoha.yaml", "own.yaml")
    spoilt = Path("mill.yaml").read_text().replace("travel:", "travels:") + "\ncolour: red\ndecimals: 9\n"
    Path("bad-mill.yaml").write_text(spoilt)
    Path("bad-own.yaml").write_text(Path("own.yaml").read_text().replace("group:", "grup:"))
    Path("a.svg").write_text('<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="40mm"/>')
    Path("a.png").write_bytes(b"\x89PNG....")
    Path("folder").mkdir()
    moves = "G0 Z5\nG0 X500 Y0\nG1 Z-1 F90000\nG1 X10\nG0 X20\nM2\n"
    Path("bad.nc").write_text(f"G21 G90 G17 G94\nM3 S9000\n{moves}")
    Path("wrong.nc").write_text("".join(f"G1 X{number}..\n" for number in range(40)))
    Path("empty.nc").write_text("\n")
    Path("nul.nc").write_bytes(b"G0\n\0")
    Path("named.nc").write_text("( Machine: mill.yaml, rs274ngc )\nG21 G90\nM2\n")
    Path("unnamed.nc").write_text("G21 G90\nM2\n")


def differences(before: Any, now: Any) -> Iterator[str]:
    """Yield lines that say in what an answer is another than before."""
    rows = [
        [f"{key}: {value}" for key, value in one.items()] if isinstance(one, dict) else one if isinstance(one, list)
        else str(one).splitlines()
        for one in (before, now)
    ]  # fmt: skip
    for line in [*difflib.unified_diff(rows[0], rows[1], lineterm="", n=0)][2:]:
        yield f"  {line[:300]}"


def main() -> None:
    """Write or compare what is said."""
    file = Path(sys.argv[1]).resolve()
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        prepare()
        now = {
            name: json.loads(json.dumps(said, default=str).replace(str(ROOT), "ROOT"))
            for name, said in asked()
        }
        os.chdir(ROOT)
    if "--compare" not in sys.argv:
        file.write_text(json.dumps(now, indent=0))
    before = json.loads(file.read_text())
    other = [name for name in before | now if before.get(name) != now.get(name)]
    for name in other:
        print(name[:100], *differences(before.get(name), now.get(name)), sep="\n")
    print(f"{len(now)} answers, {len(other)} other than in {file.name}")
    sys.exit(1 if other else 0)


if __name__ == "__main__":
    main()
