"""Random jobs through the whole of Mizo: what ``mizo program`` writes is clean in ``mizo dry-run --job``.

Each job is a text drawn from its seed and number alone, so that one can be run again by itself.  A job may be refused
before anything is written (a bit too short, no land left); a program that is written must pass every check, and the
interpreter of LinuxCNC, where it is installed, must take it without a word.

Usage: random_jobs.py [HOW_MANY [SEED [FIRST]]]     without a trace of a fault the exit code is 0
"""

from __future__ import annotations

import math
import random
import re
import shutil
import subprocess
import sys
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from vcarve.codes import OF_PROGRAMS
from vcarve.dryrun.measure import Measured
from vcarve.errors import Finding, InputError
from vcarve.groove.width import deepest_mm
from vcarve.job.bench import Bit, Machine, bits, machines, names, woods
from vcarve.job.records import load_job
from vcarve.pipeline import plan_program
from vcarve.proofing import carve_piece, check_program
from vcarve.run import DryRun, Made

OUTLINES = ("rectangle", "rounded", "circle", "ellipse", "polygon")


def job_text(seed: int, number: int) -> str:
    """Return the job of this number as a person would write it."""
    rng = random.Random(f"{seed}/{number}")
    patterns = names("pattern")
    name = patterns[number % len(patterns)]
    machine = rng.choice(machines())
    bit = rng.choice([one for one in bits() if _fits(one, machine)])
    width, height = (round(rng.uniform(28.0, 62.0), rng.randrange(3)) for _ in range(2))
    shape = rng.choice(OUTLINES) if rng.random() < 0.6 else "rectangle"
    height = width if shape == "circle" else height
    lines = [f"piece: {{width: {width}, height: {height}, thickness: 12, wood: {rng.choice(woods()).name}"]
    if shape != "rectangle":
        lines[0] += f", outline: {{shape: {shape}{_shape_keys(shape, rng)}}}"
    lines[0] += "}"
    choice = [f"name: {name}", f"pitch: {_pitch(rng)}", f"edge: {rng.choice(('groove', 'plain'))}"]
    margin = round(rng.uniform(0.5, 5.0), 1) if rng.random() < 0.3 else 0.0
    if margin:
        choice.append(f"margin: {margin}")
    if rng.random() < 0.25:
        choice.append("ends: run-off")
    if rng.random() < 0.35:
        choice.append(f"rotate: {rng.choice((15, 30, 45, 90, round(rng.uniform(0.0, 180.0), 2)))}")
    if rng.random() < 0.3:
        choice.append(f"shift-x: {rng.uniform(-5.0, 5.0):.2f}, shift-y: {rng.uniform(-5.0, 5.0):.2f}")
    if rng.random() < 0.2:
        choice.append("mirror: true")
    depth = _depth(rng, bit)
    if rng.random() < 0.3:
        own = f", depth: {_depth(rng, bit)}" if rng.random() < 0.5 else ""
        choice.append(f"frame: [{{distance: {round(margin + rng.uniform(0.0, 3.0) + 0.1, 1)}{own}}}]")
    lines.append(f"pattern: {{{', '.join(choice)}}}")
    step = round(max(depth * rng.uniform(0.2, 1.1), 0.05), 2) if rng.random() < 0.5 else None
    groove = [f"depth: {depth}"]
    if rng.random() < 0.5:
        leaf = _depth(rng, bit)
        if step is not None and rng.random() < 0.5:  # a little below a level
            levels = math.ceil(depth / step)
            leaf = min(round(depth * rng.randint(1, levels) / levels + rng.uniform(0.0, 0.03), 4), depth)
        groove = [f"ground: {depth}", f"leaf: {leaf}"]
    if step is not None:
        groove.append(f"step: {step}")
    later = random.Random(
        f"{seed}/{number}/taper"
    )  # of its own, so that the rest of each job stays what it was
    if later.random() < 0.4:
        groove.append(f"taper: {round(later.uniform(0.3, 9.0), 1)}")
    if rng.random() < 0.7:
        groove.append("lost-land: allow")
    lines.append(f"groove: {{{', '.join(groove)}}}")
    lines += [f"bit: {bit.name}", f"machine: {machine.name}"]
    corner = rng.choice(("front-left", "front-right", "back-left", "back-right", "centre"))
    zero = f"xy: {corner}, z: {rng.choice(('top', 'bed'))}"
    hop = f", hop: {round(rng.uniform(0.3, 4.0), 1)}" if rng.random() < 0.4 else ""
    lines.append(f"plan: {{recut: {rng.choice(('allow', 'never'))}{hop}}}")
    turn = f", turn: {round(rng.choice((rng.uniform(-3.0, 3.0), rng.uniform(-45.0, 45.0))), 3)} deg"
    lines.append(f"zero: {{{zero}{turn if rng.random() < 0.4 else ''}}}")
    return "\n".join(lines) + "\n"


def _fits(bit: Bit, machine: Machine) -> bool:
    return any(abs(bit.shank_mm - collet) < 0.05 for collet in machine.collets_mm)


def _shape_keys(shape: str, rng: random.Random) -> str:
    if shape == "rounded":
        return f", radius: {round(rng.uniform(1.0, 13.0), 1)}"
    if shape == "polygon":
        return f", sides: {rng.randint(3, 9)}, turn: {rng.choice((0, 15, 22.5))}"
    return ""


def _pitch(rng: random.Random) -> str:
    pitch = round(rng.uniform(9.0, 32.0), rng.randrange(4))
    return f"about {pitch} mm" if rng.random() < 0.1 else str(pitch)


def _depth(rng: random.Random, bit: Bit) -> float:
    return round(rng.uniform(0.1, min(1.6, 0.98 * deepest_mm(bit))), rng.choice((1, 2, 3))) or 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of a job: its dry run with what was measured, or why nothing was written."""

    made: Made | None = None
    run: DryRun | None = None
    facts: Measured | None = None
    refused: tuple[Finding, ...] = ()
    error: str = ""

    @property
    def faults(self) -> tuple[str, ...]:
        """Whatever must not be, in words."""
        if self.error:
            return (self.error,)
        found = (
            self.run.findings
            if self.run is not None
            else [one for one in self.refused if one.code in OF_PROGRAMS]
        )
        return tuple(str(one) for one in found if one.severity == "refuse")


def outcome(file: Path, *, carve: bool = True) -> Outcome:
    """Write a job's program and dry-run it as ``mizo dry-run --job`` does, its surface too if it is to be carved."""
    try:
        job = load_job(str(file))
        made = plan_program(job)
    except InputError:
        return Outcome()
    except Exception as error:  # an internal error, or a library's own
        return Outcome(error=repr(error))
    if made.refused:
        return Outcome(refused=made.told)
    run = check_program(made.text, file="the program", machine=job.machine, job=job)
    if not carve or run.layout is None:
        return Outcome(made=made, run=run)
    run = carve_piece(run)
    return Outcome(made=made, run=run, facts=run.measured)


def interpreted(text: str) -> str:
    """What the interpreter says of a program beside the calls it makes of it; nothing where it is not installed."""
    if shutil.which("rs274") is None:
        return ""
    with TemporaryDirectory() as folder:
        (Path(folder) / "program.ngc").write_text(text)
        done = subprocess.run(
            ["rs274", "-b", "-g", "program.ngc"], cwd=folder, capture_output=True, text=True
        )
    said = [
        line
        for line in (done.stdout + done.stderr).splitlines()
        if not re.match(r"\s*\d+ +(N\.*|\d+) +\w+\(", line)
    ]
    words = [line for line in said if line.strip() not in ("", "executing")]
    return " ".join([*words, *([f"exit {done.returncode}"] if done.returncode else [])])


def main() -> int:
    """Run the jobs and tell of every fault."""
    given = [int(word) for word in sys.argv[1:]]
    many, seed, first = (*given, *(500, 1, 0)[len(given) :])
    tally: Counter[str] = Counter()
    began = time.perf_counter()
    for number in range(first, first + many):
        with TemporaryDirectory() as folder:
            file = Path(folder) / "job.yaml"
            file.write_text(job_text(seed, number))
            found = outcome(file)
        tally["written" if found.made is not None else "not written"] += 1
        said = interpreted(found.made.text) if found.made is not None else ""
        if shutil.which("rs274") is not None:
            tally["taken by the interpreter without a word"] += found.made is not None and not said
        tally["with faults"] += bool(found.faults or said)
        if said:
            print(f"{number}: {said}", flush=True)
        if found.facts is not None:
            tally["edges measured"] += found.facts.measured
            tally["edges crowded"] += found.facts.crowded
            tally["edges too fine for the grid"] += found.facts.too_fine
        for fault in found.faults[:2]:
            tally[fault.rpartition("[")[2].rstrip("]")[:60]] += 1
            print(f"{number}: {fault}", flush=True)
    print(f"{many} jobs in {time.perf_counter() - began:.0f} s: {dict(tally)}")
    return 1 if tally["with faults"] else 0


if __name__ == "__main__":
    sys.exit(main())
