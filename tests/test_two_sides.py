"""Writer and reader are two sides that share no way of writing or reading numbers: a mistake in either is found by the other."""

from __future__ import annotations

import ast
from collections.abc import Callable
from pathlib import Path

import pytest

from small_job import make_program, on_machine
from vcarve.errors import Finding, MizoError
from vcarve.job.records import Job, load_job
from vcarve.layout.findings import job_findings
from vcarve.proofing import check_program

ROOT = Path(__file__).parent.parent
SAMPLES = sorted((ROOT / "samples").glob("*.yaml"))


def reached_from(start: str) -> set[str]:
    """Return every module of the package that a module imports, directly or through others, itself included."""
    found, left = set(), [start]
    while left:
        name = left.pop()
        path = ROOT.joinpath(*name.split("."))
        path = path / "__init__.py" if path.is_dir() else path.with_suffix(".py")
        if name in found or not path.exists():
            continue
        found.add(name)
        if name == "vcarve":
            continue  # the public face names homes for type checkers and loads none of them
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("vcarve"):
                left += [str(node.module), *(f"{node.module}.{alias.name}" for alias in node.names)]
            elif isinstance(node, ast.Import):
                left += [alias.name for alias in node.names if alias.name.startswith("vcarve")]
    return found


def test_the_two_sides_share_the_grammar_and_nothing_else() -> None:
    """Of all that writer and reader import, however indirectly, only words, names of array types and errors are common."""
    common = reached_from("vcarve.program.writer") & reached_from("vcarve.program.reader")

    names = {"vcarve", "vcarve.program", "vcarve.plane", "vcarve.plane.arrays"}
    assert common <= names | {"vcarve.codes", "vcarve.errors", "vcarve.program.grammar"}


def _last_digit_lost(count: int, decimals: int) -> str:
    """Return a number cut off instead of rounded: its last decimal is gone."""
    return f"{int(count / 10) * 10 / 10**decimals:.{decimals}f}"


def _point_shifted(count: int, decimals: int) -> str:
    return f"{count / 10 ** (decimals + 1):.{decimals + 1}f}"


def _sign_lost(count: int, decimals: int) -> str:
    return f"{abs(count) / 10**decimals:.{decimals}f}"


def _zeros_lost(count: int, decimals: int) -> str:
    """Return the zeros after the point left out, as a careless divmod does: 1.05 becomes 1.5."""
    whole, part = divmod(abs(count), 10**decimals)
    return f"{'-' if count < 0 else ''}{whole}.{part}"


def _with_exponent(count: int, decimals: int) -> str:
    return f"{count / 10**decimals:e}"


def _rounded_up(count: int, decimals: int) -> str:
    """Return two steps of the last decimal too much."""
    return f"{(count + 2) / 10**decimals:.{decimals}f}"


def of_the_text(text: str, job: Job) -> tuple[Finding, ...]:
    """Return what the dry run finds in a text, after what there is to say of the job before any text."""
    run = check_program(text, file="the program", machine=job.machine, job=job)
    assert run.layout is not None
    known = job_findings(run.layout)
    assert run.findings[: len(known)] == known
    return run.findings[len(known) :]


@pytest.mark.parametrize(
    "broken", [_last_digit_lost, _point_shifted, _sign_lost, _zeros_lost, _with_exponent, _rounded_up]
)
def test_a_mistake_of_the_writer_is_refused(
    broken: Callable[[int, int], str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A program with wrongly written numbers does not leave the pipeline."""
    job = load_job(str(ROOT / "samples" / "box-side.yaml"))
    monkeypatch.setattr("vcarve.program.text.decimal", broken)
    monkeypatch.setattr("vcarve.program.writer.decimal", broken)

    with pytest.raises(MizoError):
        make_program(job)


@pytest.mark.parametrize(
    "broken",
    [
        lambda text: float(text[:-1] or "0"),
        lambda text: 10.0 * float(text),
        lambda text: abs(float(text)),
        lambda text: float(round(float(text), 1)),
        lambda text: float(int(float(text))),
        lambda text: float(text) + 0.003,
    ],
    ids=["last digit", "point", "sign", "one decimal", "whole", "three steps"],
)
def test_a_mistake_of_the_reader_is_refused(
    broken: Callable[[str], float], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A reader that takes numbers wrongly does not find the lines that were written."""
    job = load_job(str(ROOT / "samples" / "tea-box-lid.yaml"))
    text = make_program(job).text
    assert of_the_text(text, job) == ()
    for module in ("reader", "values"):
        monkeypatch.setattr(f"vcarve.program.{module}.float", broken, raising=False)

    try:
        findings = check_program(text, file="the program", machine=job.machine, job=job).findings
    except MizoError:
        return
    assert any(one.severity == "refuse" for one in findings)


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.stem)
def test_samples_pass_every_check(sample: Path) -> None:
    """The program of every sample, read back as a file of unknown making, adds nothing to what was said of its job."""
    job = load_job(str(sample))

    assert of_the_text(make_program(job).text, job) == ()


@pytest.mark.parametrize("pattern", ["seigaiha", "fundo-tsunagi", "amime", "kaku-asanoha"])
@pytest.mark.parametrize("units", ["mm", "inch"])
@pytest.mark.parametrize("arcs", [True, False])
def test_every_way_of_writing_is_clean(pattern: str, units: str, arcs: bool) -> None:
    """Arcs or their chords, in millimetres or inches: rounding alone is never taken for a mistake."""
    sets = (f"pattern.name={pattern}", "pattern.pitch=17.3 mm", "groove.depth=0.6 mm", "zero.z=bed")
    job = load_job(str(ROOT / "samples" / "coaster.yaml"), sets)
    changed = {"units": units, "decimals": 4 if units == "inch" else 3, "arcs": arcs}
    job = on_machine(job, **changed)

    assert of_the_text(make_program(job).text, job) == ()


def test_only_the_two_sides_work_out_where_zero_is() -> None:
    """Which place of the piece is zero stands in the writer's mount and the dry run's track; all others ask one of them."""
    asked = {
        path.relative_to(ROOT / "vcarve").as_posix()
        for path in (ROOT / "vcarve").rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Attribute) and node.attr == "xy" and ast.unparse(node.value) == "job.zero"
    }

    assert asked == {"mount/flat.py", "dryrun/track.py"}
