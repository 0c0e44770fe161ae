"""Jobs, machines, bits and woods, found by name or path and filled in."""

from __future__ import annotations

import math
import re
import subprocess
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Annotated, Any

import pytest
from pydantic import BaseModel, Field

import vcarve
from vcarve.errors import InputError
from vcarve.job.bench import (
    Bit,
    Machine,
    Spindle,
    bits,
    file_of,
    load_bit,
    load_end_mill,
    load_machine,
    load_wood,
    machines,
    names,
    woods,
)
from vcarve.job.document import Document, parse_document, read_document
from vcarve.job.fields import Pitch
from vcarve.job.panel import Board, Fixture, Grid, Moisture, OddTile, Panel, PanelFrame, Place, TileSize
from vcarve.job.record import Named, Record, record_from
from vcarve.job.records import Job, load_job
from vcarve.job.starters import starter_text
from vcarve.pattern.entries import LatticeEntry, LineEntry, Operation
from vcarve.pattern.model import Pattern

ROOT = Path(vcarve.__file__).parent.parent
SAMPLES = sorted((ROOT / "samples").glob("*.yaml"))
PLAIN = """\
piece: {width: 120 mm, height: 3 1/2 in, thickness: 1/2 in, wood: maple-sugar}
pattern: {name: asanoha, pitch: about 22 mm}
groove: {depth: 2 mm}
bit: v90-6.35
machine: small-desktop
"""


@pytest.fixture
def job_path(tmp_path: Path) -> str:
    """Return a small job file."""
    path = tmp_path / "job.yaml"
    path.write_text(PLAIN, encoding="utf-8")
    return str(path)


def test_a_job_is_filled_in(job_path: str, tmp_path: Path) -> None:
    """Names become records, lengths become millimetres, and what is left out gets its default."""
    job = load_job(job_path)

    assert (job.piece.height_mm, job.piece.thickness_mm) == (88.9, 12.7)
    assert job.pattern.pitch_mm == Pitch(22.0, about=True)
    assert job.depths_mm == (2.0, 2.0)
    assert (job.piece.wood, job.bit) == (load_wood("maple-sugar"), load_bit("v90-6.35"))
    assert job.machine == load_machine("small-desktop")
    assert job.hop_mm == 1.0
    assert job.folder == str(tmp_path)


def test_two_millimetres_in_hard_maple_are_one_level(job_path: str) -> None:
    """The wood's depth per level reaches 2 mm in hardwood; the job's own step comes first."""
    assert load_job(job_path).step_mm >= 2.0
    assert load_job(job_path, ["groove.step=0.5"]).step_mm == 0.5


def test_overrides_are_part_of_the_job(job_path: str) -> None:
    """What the command line sets is read as if it stood in the file."""
    sets = [
        "groove.depth=",
        "groove.ground=1.5",
        "groove.leaf=1/32 in",
        "bit={angle: 60, diameter: 6, shank: 6}",
    ]
    job = load_job(job_path, sets)

    assert job.depths_mm == (1.5, 0.79375)
    assert (job.bit.angle_deg, job.bit.name) == (60.0, None)


def test_a_job_made_in_memory_names_the_key(job_path: str) -> None:
    """It has no lines, but its problems still have their key."""
    tree = read_document(job_path).tree
    assert record_from(Document(file=None, folder=".", tree=tree), Job).piece == load_job(job_path).piece
    tree["piece"]["wood"] = "ashe-white"

    with pytest.raises(InputError) as caught:
        record_from(Document(file=None, folder=".", tree=tree), Job)
    assert str(caught.value).startswith("piece.wood: 'ashe-white': unknown wood; did you mean 'ash-white'?")


def test_a_job_file_survives_writing(job_path: str) -> None:
    """A job dumped with its keys and read again has the same values, names looked up or not."""
    written = load_job(job_path)
    values = written.model_dump(by_alias=True)

    assert Job.model_validate(values | {"machine": written.machine}).model_dump(by_alias=True) == values


def test_a_machine_of_ones_own_is_looked_up_beside_the_job(job_path: str, tmp_path: Path) -> None:
    """A path in a job starts at the job's folder."""
    text = (ROOT / "machines" / "small-desktop.yaml").read_text(encoding="utf-8")
    (tmp_path / "mine.yaml").write_text(text.replace("name: small-desktop", "name: mine"), encoding="utf-8")

    assert load_job(job_path, ["machine=mine.yaml"]).machine.name == "mine.yaml"


def test_machines_are_named_as_their_files() -> None:
    """A machine's name is its file's; the small desktop mill takes 1/8 inch shanks only."""
    assert tuple(machine.name for machine in machines()) == names("machine")
    assert load_machine("small-desktop").collets_mm == (3.175,)
    assert {machine.dialect for machine in machines()} == {"rs274ngc", "grbl-1.1", "linuxcnc"}


def test_bits_are_what_their_names_say() -> None:
    """The angle and the size in a bit's name are the bit's; names are unique."""
    names = [bit.name or "" for bit in bits()]
    assert len(set(names)) == len(names)
    for bit in bits():
        match = re.fullmatch(r"v(\d+)-(?:tip(\d+)|ball(\d+)|([\d.]+))", bit.name or "")
        assert match is not None
        assert bit.angle_deg == float(match[1])
        if match[2]:
            assert bit.tip_mm == pytest.approx(int(match[2]) / 10)
        elif match[3]:
            assert bit.tip_radius_mm == pytest.approx(int(match[3]) / 100)
        else:
            assert bit.diameter_mm == float(match[4])
        assert any(math.isclose(bit.shank_mm, size) for size in (3.175, 6.0, 6.35, 8.0))


@pytest.mark.parametrize(
    ("name", "pounds_force"),
    [("maple-sugar", 1450), ("cherry-black", 950), ("walnut-black", 1010), ("oak-white", 1360), ("oak-red", 1290),
     ("ash-white", 1320), ("birch-yellow", 1260), ("beech", 1300), ("poplar-yellow", 540), ("basswood", 410),
     ("mahogany", 800), ("khaya", 830), ("sapele", 1500), ("redcedar-western", 350), ("douglas-fir", 710),
     ("pine-white", 380), ("port-orford-cedar", 630), ("maple-red", 950)],
)  # fmt: skip
def test_hardness_is_the_published_figure_in_newtons(name: str, pounds_force: int) -> None:
    """Side hardness in pounds-force as the Wood Handbook and its copies print it; 1 lbf is 4.448 N."""
    assert load_wood(name).hardness_n == pytest.approx(pounds_force * 4.448, abs=5.0)


def test_woods_are_unique_and_keep_to_their_class() -> None:
    """Chip loads are those of hardwoods or of softwoods (common practice); tints are colours."""
    names = [wood.name for wood in woods()]
    assert len(set(names)) == len(names)
    for wood in woods():
        hard = wood.chip_low_mm == 0.02
        soft_most = 0.08 if wood.name == "mdf" else 0.10
        assert (wood.chip_low_mm, wood.chip_high_mm) == ((0.02, 0.06) if hard else (0.03, soft_most))
        assert 0.25 <= wood.plunge_share <= 0.50
        assert re.fullmatch("#[0-9a-f]{6}", wood.tint)
        if wood.name not in ("plywood-birch", "mdf", "bamboo"):
            assert hard == (wood.hardness_n is not None and wood.hardness_n > 3300)


PEAR = "piece.wood={title: Pear, chip-low: 0.03 mm, chip-high: 0.05, plunge-share: 35 %, step: 1.5 mm}"


def test_a_wood_of_ones_own_gives_the_speeds(job_path: str) -> None:
    """Plunge and step follow the figures in the job, and no edge takes more than a chip of 0.03 mm."""
    job = load_job(job_path, [PEAR])

    assert (job.piece.wood.title, job.piece.wood.name) == ("Pear", "own")
    assert job.speeds.cut_mm_min / (job.bit.flutes * job.speeds.spindle_rpm) == pytest.approx(0.03, rel=0.01)
    assert job.speeds.plunge_mm_min == pytest.approx(0.35 * job.speeds.cut_mm_min, abs=1.0)
    assert load_job(job_path, [PEAR, "machine=small-desktop"]).step_mm == 1.5


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        (("title: Pear, ", ""), "piece.wood.title: this key is missing: the wood in words"),
        (("step: 1.5 mm", "step: 0"), "piece.wood.step: '0': must be more than 0 mm"),
        (("0.05", "0.02"), "piece.wood.chip-high: '0.02': must be at least chip-low, 0.03 mm"),
        (("step", "tint: red;, step"), "piece.wood.tint: 'red;': a colour is wanted"),
        (("step", "grain: fine, step"), "piece.wood.grain: 'fine': unknown key"),
    ],
)
def test_a_wood_of_ones_own_is_checked(job_path: str, changed: tuple[str, str], words: str) -> None:
    """Every figure that is missing or wrong is named by its key."""
    with pytest.raises(InputError) as caught:
        load_job(job_path, [PEAR.replace(*changed)])
    assert words in str(caught.value)


def test_a_missing_key_of_several_forms_is_told_by_its_meaning() -> None:
    """Where a value is a name or a section, wherever it stands, the keys of the section alone would mislead."""

    class Spare(Record):
        cutter: Annotated[Bit, Named(lambda name, _: load_bit(name))] = Field(
            description="a name, or its measures"
        )

    with pytest.raises(InputError) as caught:
        record_from(parse_document(b"{}"), Spare)

    assert [one.want for one in caught.value.problems] == ["this key is missing: a name, or its measures"]


@pytest.mark.parametrize(
    ("word", "answer"),
    [
        ("oak", "write one of oak-white, oak-red"),
        ("Maple", "write one of maple-sugar, maple-red"),
        ("birch", "write one of birch-yellow, plywood-birch"),
        ("red maple", "did you mean 'maple-red'?"),
        ("cherry", "did you mean 'cherry-black'?"),
        ("Hard Maple", "did you mean 'maple-sugar'?"),
        ("birch_plywood", "did you mean 'plywood-birch'?"),
        ("MDF", "did you mean 'mdf'?"),
        ("-", "'mizo woods' lists them"),
    ],
)
def test_a_word_for_several_woods_lists_them_all(word: str, answer: str) -> None:
    """Words are looked for in names and titles, in any order."""
    with pytest.raises(InputError, match=re.escape(answer)):
        load_wood(word)


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_samples_can_be_cut(path: Path) -> None:
    """Each sample's bit fits a collet, reaches the depth, and the piece fits the machine and stays whole."""
    job = load_job(str(path))
    bit, machine = job.bit, job.machine
    deepest = (bit.diameter_mm - bit.tip_mm) / (2.0 * math.tan(math.radians(bit.angle_deg / 2.0)))

    assert any(math.isclose(bit.shank_mm, collet, abs_tol=0.01) for collet in machine.collets_mm)
    assert max(job.depths_mm) <= deepest
    assert max(job.depths_mm) < job.piece.thickness_mm / 2
    assert job.piece.width_mm <= machine.travel.x_mm
    assert job.piece.height_mm <= machine.travel.y_mm
    assert job.speeds.cut_mm_min <= machine.feed_max.x_mm_min
    assert machine.spindle.min_rpm <= job.speeds.spindle_rpm <= machine.spindle.max_rpm
    assert all(clamp.above_mm < machine.safe_height_mm for clamp in job.clamps)


def test_samples_cover_machines_and_patterns() -> None:
    """Every machine has a sample, and so have at least three patterns."""
    jobs = [load_job(str(path)) for path in SAMPLES]

    assert {job.machine.name for job in jobs} == set(names("machine"))
    assert len({job.pattern.name for job in jobs}) >= 3


def test_the_starter_loads_and_explains_every_key(tmp_path: Path) -> None:
    """The starter is a valid job, and its comments hold every key a job can have."""
    path = tmp_path / "start.yaml"
    path.write_text(starter_text(), encoding="utf-8")
    job = load_job(str(path))
    text = starter_text()

    assert job.title
    for record in (
        type(job),
        type(job.piece),
        type(job.pattern),
        type(job.groove),
        type(job.feed),
        type(job.plan),
    ):
        for name, info in record.model_fields.items():
            assert re.search(rf"\b{re.escape(info.alias or name)}\b", text), name


@pytest.mark.parametrize(
    ("kind", "records"),
    [("machine", (Machine, Spindle)), ("pattern", (Pattern, LatticeEntry, Operation, LineEntry))],
)
def test_the_other_starters_explain_every_key(kind: Any, records: tuple[type[BaseModel], ...]) -> None:
    """Each is valid as it stands and with its optional keys uncommented, and holds every key such a file can have."""
    text = starter_text(kind, title="my mill: 2 no")
    uncommented = re.sub(r"^( *)# ([a-z0-9-]+: )", r"\1\2", text, flags=re.MULTILINE)
    bare, full = (
        record_from(parse_document(one.encode()), records[0]).model_dump() for one in (text, uncommented)
    )

    assert bare["name"] == "my mill: 2 no"
    assert uncommented != text
    assert kind == "pattern" or bare == full  # the values shown as usual are the defaults
    for record in records:
        for name, info in record.model_fields.items():
            assert re.search(rf"\b{re.escape(info.alias or name)}:", text), name


def test_the_starter_of_panels_explains_every_key() -> None:
    """It is valid as it stands and with all it has to offer, and holds every key a panel can have."""
    text = starter_text("panel", title="screen")
    full = re.sub(r"^( *)# (?=( *- )?[a-z0-9-]+: |[a-z]+:)|^# (?=  +)", r"\1", text, flags=re.MULTILINE)
    boards, jig = (
        re.sub(rf"^{key}:.*?\n\n", "", full, flags=re.DOTALL | re.MULTILINE)
        for key in ("fixture", "(?:boards|cut-out)")
    )
    bare, every, other = (record_from(parse_document(one.encode()), Panel) for one in (text, boards, jig))

    assert bare.title == "screen"
    assert other.fixture is not None
    assert every.cut_out is not None
    assert len(other.fixture.places) == len(other.fixture.systems)
    assert every.tiles[0].pattern is not None
    assert (every.boards[0].kerf_mm, every.moisture is None, every.feed) == (4.0, False, bare.feed)
    for record in (Panel, Grid, PanelFrame, TileSize, OddTile, Board, Fixture, Place, Moisture):
        for name, info in record.model_fields.items():
            assert re.search(rf"\b{re.escape(info.alias or name)}:", text), name


def test_the_starter_s_own_values_are_the_defaults() -> None:
    """Where the starter sets a key that has a default, it sets the default: it never differs from a job without the key."""
    job = record_from(parse_document(starter_text().encode()), Job)

    for section in (job.pattern, job.zero):
        kept = {
            name: info.default
            for name, info in type(section).model_fields.items()
            if info.default is not None
        }
        for name in section.model_fields_set & set(kept):
            assert getattr(section, name) == kept[name], name


DRAWN = """
piece: {width: 90, height: 90, thickness: 9, wood: cherry-black}
pattern: {drawing: a.svg, depths: {thin: 0.5 mm, thick: 1 mm}}
bit: v60-3.175
machine: small-desktop
"""


@pytest.mark.parametrize("more", ["", "groove: {step: 0.5 mm}", "groove: {lost-land: allow}"])
def test_a_drawing_whose_layers_have_depths_needs_no_other(tmp_path: Path, more: str) -> None:
    """What is cut has a depth of its own."""
    file = tmp_path / "job.yaml"
    file.write_text(DRAWN + more)
    frame = "pattern.frame=[{distance: 5 mm, depth: 0.7 mm}]"

    assert load_job(str(file)).depths_mm == (1.0, 1.0)
    assert load_job(str(file), [frame]).pattern.frame[0].depth_mm == 0.7


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("pattern={drawing: a.svg}", "or 'depths' under 'pattern': a depth for each layer to cut"),
        ("pattern.frame=[{distance: 5 mm}]", "or the frame a depth of its own"),
        ("pattern={name: asanoha, pitch: 18}", "give 'depth' for all lines, or 'ground' and 'leaf' apart"),
    ],
)
def test_what_has_no_depth_of_its_own_needs_that_of_the_groove(
    tmp_path: Path, change: str, said: str
) -> None:
    """A drawing without depths, a frame, a pattern: the sentence says where a depth can stand."""
    file = tmp_path / "job.yaml"
    file.write_text(DRAWN)
    with pytest.raises(InputError) as caught:
        load_job(str(file), [change])

    assert said in str(caught.value)


@pytest.mark.parametrize(
    ("key", "name", "said"),
    [
        ("wood", "teak", "'mizo woods' lists them (a wood of your own is given by its figures"),
        ("wood", "chery", "did you mean 'cherry-black'?"),
        ("bit", "v90", "several bits are called that; write one of v90-3.175, v90-6.35, v90-12.7"),
        ("machine", "3018", "did you mean 'router-3018'?"),
        ("machine", "Desktop", "did you mean 'small-desktop'?"),
        ("pattern", "asanoah", "did you mean 'asanoha'?"),
        ("bit", "v91", "did you mean one of v90-3.175, v90-6.35, v90-12.7?"),
        ("wood", "mapel", "did you mean one of maple-sugar, maple-red?"),
        (
            "bit",
            "em-6",
            "this is an end mill, which cuts no V; a V-bit is wanted here ('mizo bits' lists them)",
        ),
        ("end mill", "em-3", "did you mean 'em-3.175'?"),
        (
            "end mill",
            "v60-6.35",
            "this is a V-bit, whose cut leaves slanting edges; an end mill is wanted here: one of em-",
        ),
    ],
)
def test_part_of_a_name_finds_those_called_that(key: str, name: str, said: str) -> None:
    """A word of a name that no other has, all but spelled right, leads to it; several are all named, a whole name first."""
    load: dict[str, Callable[[str], object]] = {
        "wood": load_wood,
        "bit": load_bit,
        "end mill": load_end_mill,
        "machine": load_machine,
        "pattern": partial(file_of, "pattern"),
    }
    with pytest.raises(InputError) as caught:
        load[key](name)

    assert said in str(caught.value)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("taper=3", "did you mean 'groove.taper'?"),
        ("pattern.taper=3", "did you mean 'groove.taper'?"),
        ("piece.turn=4", "did you mean 'zero.turn'?"),
        ("pattern.depth=1", "did you mean 'depths'?"),
        ("piece.nowhere=4", "known here: width, height"),
        ("zero.turn=50 deg", "at most 45 degrees; lay the piece straighter, or write pattern.rotate"),
        ("zero.turn=-50 deg", "at least -45 degrees; lay the piece straighter, or write pattern.rotate"),
        ("groove.taper=-1", "at least 0.01 mm; leave it out for none"),
        ("groove.taper=0.009", "at least 0.01 mm; leave it out for none"),
    ],
)
def test_what_to_do_instead_is_told(tmp_path: Path, change: str, said: str) -> None:
    """A key that stands in another section leads there; a turn or a taper that cannot be says what would do."""
    file = tmp_path / "job.yaml"
    file.write_text(DRAWN)
    with pytest.raises(InputError) as caught:
        load_job(str(file), [change])

    assert said in str(caught.value)


def test_loading_a_job_loads_no_heavy_library() -> None:
    """Reading a job needs neither numpy nor the geometry libraries."""
    code = "import sys, vcarve.job.records; print(*sorted(sys.modules))"
    loaded = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )

    assert not {"numpy", "scipy", "shapely", "pymatching", "PIL", "click"} & set(loaded.stdout.split())


@pytest.mark.parametrize(
    ("change", "drops"),
    [
        ("pattern.across=4", ["pattern.pitch="]),
        ("groove.ground=0.6", ["groove.depth="]),
        ("pattern.drawing=a.svg", ["pattern.name="]),
    ],
)
def test_a_clash_with_the_file_says_how_to_take_the_other_key_out(
    tmp_path: Path, change: str, drops: list[str]
) -> None:
    """A key of the command line beside one of the file that cannot stay: the words that drop it are given, and do."""
    path = tmp_path / "job.yaml"
    path.write_text(PLAIN)
    with pytest.raises(InputError) as caught:
        load_job(str(path), [change])
    words = [f"--set {drop}" for drop in drops]

    assert f"{' '.join(words)} takes out what the file says" in str(caught.value)
    if change == "pattern.across=4":
        assert load_job(str(path), [change, *drops]).pattern.across == 4
    with pytest.raises(InputError) as both:
        load_job(str(path), ["pattern.across=4", "pattern.pitch=20 mm"])
    assert "takes out" not in str(both.value)
