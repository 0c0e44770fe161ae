"""The programs of many jobs as hashes of their bytes: what a change of the code leaves as it is, or must say that it changes.

The samples; every pattern at three pitches in one level, and once in a circle, turned and framed; some in two levels, with two
depths, run-off ends and units of inches.

Usage: same_programs.py FILE.json            writes the hashes
       same_programs.py FILE.json --compare  makes them again and names every job whose program is another
"""

from __future__ import annotations

import hashlib
import json
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from click.testing import CliRunner

from vcarve.cli.main import cli
from vcarve.job.bench import names

SAMPLES = Path(__file__).parent.parent.parent / "samples"
SHALLOW = ("groove.depth=0.4", "groove.lost-land=allow")


def jobs() -> Iterator[tuple[str, Path, tuple[str, ...]]]:
    """Yield a name, a job file and the values set in it."""
    for sample in sorted(SAMPLES.glob("*.yaml")):
        yield sample.stem, sample, ()
    coaster = SAMPLES / "coaster.yaml"
    for name in names("pattern"):
        for pitch in ("14.3", "18", "27.1"):
            yield f"{name} {pitch}", coaster, (*SHALLOW, f"pattern.name={name}", f"pattern.pitch={pitch}")
        circle = ("piece.outline={shape: circle}", "pattern.rotate=7 deg", "pattern.frame=[{distance: 5 mm}]")
        yield f"{name} round", coaster, (*SHALLOW, f"pattern.name={name}", "pattern.pitch=17", *circle)
    for name in ("asanoha", "seigaiha", "izutsu-tsunagi", "kaku-asanoha"):
        of = f"pattern.name={name}"
        yield f"{name} levels", coaster, (*SHALLOW, of, "groove.step=0.15")
        yield f"{name} inches", coaster, (*SHALLOW, of, "units=inch")
        yield f"{name} run-off", coaster, (*SHALLOW, of, "pattern.ends=run-off", "pattern.edge=plain")
    depths = ("groove.depth=", "groove.ground=0.5", "groove.leaf=0.3", "groove.lost-land=allow")
    yield "two depths", coaster, depths


def made(job: Path, sets: tuple[str, ...], folder: Path) -> str:
    """Return the hash of a job's program, or of what is said instead of one."""
    program = folder / "made.nc"
    program.unlink(missing_ok=True)
    words = ["program", str(job), "-o", str(program), *(word for one in sets for word in ("--set", one))]
    said = CliRunner().invoke(cli, words, standalone_mode=False)
    if program.exists():
        return hashlib.sha256(program.read_bytes()).hexdigest()[:16]
    return f"no program: {type(said.exception).__name__}"


def main() -> None:
    """Write or compare the hashes."""
    file = Path(sys.argv[1])
    with tempfile.TemporaryDirectory() as folder:
        now = {name: made(job, sets, Path(folder)) for name, job, sets in jobs()}
    if "--compare" not in sys.argv:
        file.write_text(json.dumps(now, indent=0))
    before = json.loads(file.read_text())
    other = [name for name in before.keys() | now.keys() if before.get(name) != now.get(name)]
    without = sum(value.startswith("no program") for value in now.values())
    print(
        f"{len(now)} jobs, {without} without a program, {len(other)} other than in {file}: {', '.join(sorted(other))}"
    )
    sys.exit(1 if other else 0)


if __name__ == "__main__":
    main()
