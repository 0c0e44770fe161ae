"""What a job may ask for is counted before it is built: too much is refused in words, and no memory is taken for it."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any, NoReturn

import pytest

from drawn_lines import pattern_of
from made_moves import read_all as read
from small_job import make_program, own_job, own_pattern
from vcarve.drawing.dxf import read_dxf
from vcarve.errors import InputError
from vcarve.job.records import load_job
from vcarve.plan.bound import best_pairing
from vcarve.program import words

LINE = "{from: [0, 0], to: [1, 0]}"


def never(*_: Any, **__: Any) -> NoReturn:
    """Stand for what must not be begun."""
    raise AssertionError("this was begun before it was counted")


def refused(work: Any) -> str:
    """Return the only problem of work that is refused as bad input."""
    with pytest.raises(InputError) as caught:
        work()
    assert len(caught.value.problems) == 1
    return str(caught.value)


@pytest.fixture
def job(tmp_path: Path) -> str:
    """Return a job of some three hundred lines."""
    path = tmp_path / "job.yaml"
    path.write_text(own_job("{name: kaku-asanoha, pitch: 10 mm}", wide_mm=60, high_mm=60))
    return str(path)


def test_lines_on_the_piece(job: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A pitch that makes millions of lines names one that is possible, and that one is let through."""
    monkeypatch.setattr("vcarve.layout.stages.pattern_graph", never)
    said = refused(lambda: make_program(load_job(job, ["pattern.pitch=0.1"])))
    # Nine lines for each square of the pitch, 60 x 60 mm, a million lines at most: sqrt(9 * 3600 / 1e6) = 0.18
    assert said == (
        "--set pattern.pitch: '0.1': this gives more than 1,000,000 lines on the piece; a pitch of 0.18 mm or more is possible"
    )
    with pytest.raises(AssertionError, match="begun"):
        make_program(load_job(job, ["pattern.pitch=0.181"]))


def test_cuts_in_levels(job: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Lines times levels are counted before they are planned; the step that is named is possible."""
    monkeypatch.setattr("vcarve.pipeline.CUTS_MOST", 5000)
    monkeypatch.setattr("vcarve.pipeline.candidates", never)
    said = refused(lambda: make_program(load_job(job, ["groove.step=0.01"])))
    with pytest.raises(AssertionError, match="begun"):
        make_program(load_job(job, ["groove.step=0.04"]))

    # 336 lines, 0.5 mm deep: 16,800 cuts at 0.01 mm; 336 * 0.5 / (5000 - 336) = 0.036 mm
    assert said.startswith(
        "--set groove.step: '0.01': in levels of this depth the 336 lines on the piece would be more than 5,000"
    )
    assert said.endswith("a step of 0.04 mm or more is possible")


def test_parts_of_slopes_are_cuts_as_well(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where ends of lines rise their parts are counted, and the step that is named is possible."""
    monkeypatch.setattr("vcarve.pipeline.CUTS_MOST", 6000)
    path = tmp_path / "job.yaml"
    path.write_text(own_job("{name: izutsu-tsunagi, pitch: 15 mm, edge: plain}", wide_mm=60, high_mm=60))

    def begun(step: str, *more: str) -> int:
        found: list[int] = []

        def counted(cuts: Any, *_: Any, **__: Any) -> NoReturn:
            found.append(len(cuts.after))
            raise AssertionError("this was begun")

        monkeypatch.setattr("vcarve.pipeline.candidates", counted)
        with pytest.raises(AssertionError, match="begun"):
            make_program(load_job(str(path), [f"groove.step={step}", *more]))
        return found[0]

    taper = "groove.taper=4 mm"
    level = begun("0.03")
    said = refused(lambda: make_program(load_job(str(path), ["groove.step=0.03", taper])))
    [least] = re.findall(r"a step of ([0-9.]+) mm or more is possible", said)

    assert "would be more than 6,000 cuts" in said
    assert level < 6000
    assert begun(least, taper) <= 6000


def test_lines_alone_that_are_too_many_cuts(job: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where one level of all lines is what is possible, the full depth is named; where not even that is, fewer lines."""
    monkeypatch.setattr("vcarve.pipeline.candidates", never)
    monkeypatch.setattr("vcarve.pipeline.CUTS_MOST", 336)
    said = refused(lambda: make_program(load_job(job, ["groove.step=0.01"])))
    with pytest.raises(AssertionError, match="begun"):
        make_program(load_job(job, ["groove.step=0.5"]))
    monkeypatch.setattr("vcarve.pipeline.CUTS_MOST", 335)
    none = refused(lambda: make_program(load_job(job, ["groove.step=0.01"])))

    assert said.endswith("a step of 0.5 mm or more is possible")
    assert "draw fewer lines" in none
    assert "step of" not in none


def test_the_least_pitch_in_inches_is_possible(job: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is named in another unit is rounded up there as well: 0.2394 mm are 0.00942 in, and 0.0094 in too few."""
    monkeypatch.setattr("vcarve.layout.lines.EDGES_MOST", 565_445)  # sqrt(9 * 3600 / 565,445) = 0.23937
    monkeypatch.setattr("vcarve.layout.stages.pattern_graph", never)
    said = refused(lambda: make_program(load_job(job, ["units=inch", "pattern.pitch=0.1"])))
    [least] = re.findall(r"a pitch of ([0-9.]+ in) or more", said)

    with pytest.raises(AssertionError, match="begun"):
        make_program(load_job(job, ["units=inch", f"pattern.pitch={least}"]))


def test_levels_of_the_same_lines_are_paired_once(job: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Fifty levels ask for hardly more pairings than five."""
    asked: list[int] = []
    pairing = best_pairing

    def counted(*words: Any, **more: Any) -> Any:
        asked.append(1)
        return pairing(*words, **more)

    monkeypatch.setattr("vcarve.plan.planner.best_pairing", counted)
    made = make_program(load_job(job, ["groove.step=0.01"]))

    assert made.plan.levels == 50
    assert 0 < len(asked) <= 10


@pytest.mark.parametrize(
    ("kind", "a2", "lines", "key", "sentence"),
    [
        ("rectangular", "[0, 1e-9]", LINE, "lattice.a2", "1e+09 times as long as the other; up to 100 times"),
        ("rectangular", "[0, 1e5]", LINE, "lattice.a2", "1e+05 times as long as the other"),
        ("oblique", "[1, 1e-3]", LINE, "lattice.a2", "different directions"),
        ("square", "[0, 1]", ", ".join([LINE] * 1000), "lines", "1,000 lines under 1 operations make 1,000 lines"),
        ("rectangular", "[0, 1/90]", ", ".join([LINE] * 200), "lines", "too many to find where they meet"),
    ],
)  # fmt: skip
def test_patterns(
    kind: str, a2: str, lines: str, key: str, sentence: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither a sliver of a unit cell nor a crowd of lines in it is worked on."""
    monkeypatch.setattr("vcarve.pattern.model.united", never)
    said = refused(lambda: pattern_of(own_pattern(lines, kind=kind, a2=a2)))

    assert f"{key}: " in said
    assert sentence in said


@pytest.mark.parametrize("short", ["1e-5", "1e-6", "2e-8", "1e-9", "1.0000001e-9", "1e-10", "1e-300"])
def test_very_short_lines_of_patterns(short: str, tmp_path: Path) -> None:
    """A line is long enough to be cut, or is refused where it is written."""
    text = own_pattern(f"{{from: [0, 0], to: [{short}, 0]}}, {LINE}")
    (tmp_path / "own.yaml").write_text(text)
    (tmp_path / "job.yaml").write_text(own_job(wide_mm=60, high_mm=60))
    if float(short) > 1e-6:
        assert make_program(load_job(str(tmp_path / "job.yaml"))).network.edges > 0
    else:
        assert "own.yaml:7: lines.0: this line has no length" in refused(
            lambda: make_program(load_job(str(tmp_path / "job.yaml")))
        )


@pytest.mark.parametrize("dialect", ["rs274ngc", "grbl-1.1", "linuxcnc"])
def test_a_program_in_one_endless_line(dialect: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """A line past every controller's limit is refused before its characters are taken apart."""
    monkeypatch.setattr(words, "_strip", never)
    reading = read("G1 X1 " * 2000 + "\n", dialect=dialect)

    assert reading.faults[0].line == 1
    assert reading.faults[0].want.startswith("the line is longer than")


def test_a_spline_of_many_points_is_set_up_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """What evaluates a spline is made from all of its points: once, however many stretches are asked for."""
    ezdxf = pytest.importorskip("ezdxf")
    from ezdxf.math import BSpline

    document = ezdxf.new("R2010", units=4)
    document.modelspace().add_open_spline([(i, i % 7, 0) for i in range(200)])
    stream = io.StringIO()
    document.write(stream)
    made: list[int] = []
    evaluator: Any = BSpline.__dict__["evaluator"]

    def counted(self: BSpline) -> Any:
        made.append(1)
        return evaluator.fget(self)

    monkeypatch.setattr(BSpline, "evaluator", property(counted))
    sheet = read_dxf(stream.getvalue().encode(), "wave.dxf")

    assert sheet.count > 200
    assert len(made) == 1
