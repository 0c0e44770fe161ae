"""The process that plans: what it makes is what the commands make, gives up at once, and is there again when it has ended."""

from __future__ import annotations

import http.client
import json
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from served import SMALL, Served, served
from vcarve.cli.main import cli
from vcarve.errors import InputError, InternalError
from vcarve.serve.folder import Folder
from vcarve.serve.work import TAKEN, GivenUpError, Worker

# A thousand lines: planned in a second or more.
LARGE = SMALL.replace("40 mm", "200 mm").replace("pitch: 20 mm", "pitch: 12 mm")


@pytest.fixture
def worker(tmp_path: Path) -> Iterator[Worker]:
    """Return a process that works in an empty folder."""
    made = Worker(Folder(tmp_path))
    yield made
    made.close()


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """Return a server."""
    with served(tmp_path_factory.mktemp("work")) as found:
        yield found


def planned(page: Served, text: str) -> tuple[list[dict[str, Any]], dict[str, Any]]:
    """Return the lines that a plan is told by, and the last of them."""
    lines = [json.loads(line) for line in page.ask("plan", {"text": text}).body.splitlines()]
    return lines[:-1], lines[-1]


def test_what_is_taken_away_is_what_the_commands_write(page: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    """Program, page, pictures and drawings have the bytes that the commands write for the same job file."""
    monkeypatch.chdir(page.folder)
    text, file, stem = SMALL, "é 麻.yaml", "é 麻"
    Path(file).write_text(text, encoding="utf-8")
    told, last = planned(page, text)
    run = CliRunner()
    words = ["program", file, "-o", f"{stem}.nc", "--picture", "plan.svg", "--page", "page.html"]
    assert run.invoke(cli, words).exit_code == 0
    assert run.invoke(cli, ["dry-run", f"{stem}.nc", "--job", file, "--picture", "carved.png"]).exit_code == 0
    for name in ("lines.svg", "lines.dxf"):
        assert run.invoke(cli, ["lines", file, "-o", name]).exit_code == 0

    shares = [one["share"] for one in told]
    assert shares == sorted(shares)
    assert last["done"]["program"].encode() == Path(f"{stem}.nc").read_bytes()
    for what, name in (
        ("page", "page.html"),
        ("picture", "plan.svg"),
        ("carved", "carved.png"),
        ("lines-svg", "lines.svg"),
        ("lines-dxf", "lines.dxf"),
    ):
        got = page.ask("take", {"text": text, "what": what, "file": file})
        assert (what, got.body == Path(name).read_bytes()) == (what, True)


def test_files_are_called_after_the_title_without_its_accents(page: Served) -> None:
    """A letter with an accent stays a letter; signs part words."""
    text = SMALL.replace("title: small", 'title: "Été: Böse Kachel #1"')
    got = page.ask("take", {"text": text, "what": "lines-svg"})

    assert got.head["content-disposition"].endswith("ete-bose-kachel-1-lines.svg")


def test_what_is_for_the_bench_is_what_the_commands_write(
    page: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In the air, traced, probed, and a coupon with its sheet and its table: the bytes of the commands' files."""
    monkeypatch.chdir(page.folder)
    Path("bench.yaml").write_text(SMALL, encoding="utf-8")
    for words in (
        "program bench.yaml -o air.nc --air 10mm",
        "trace bench.yaml -o trace.nc",
        "probe bench.yaml -o probe.nc",
        "coupon bench.yaml -o coupon.nc --sheet coupon-sheet.html --table coupon-table.yaml",
    ):
        assert CliRunner().invoke(cli, words.split()).exit_code == 0
    for path in sorted(page.folder.glob("*-*.*")) + [
        Path(f"{what}.nc") for what in ("air", "trace", "probe", "coupon")
    ]:
        if (what := path.stem) in TAKEN:
            got = page.ask("take", {"text": SMALL, "what": what, "file": "bench.yaml"})
            assert (got.status, got.body) == (200, path.read_bytes()), what


def test_a_cut_out_and_a_solid_are_what_the_commands_write(
    page: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second program and the solid: the bytes of the commands' files; a job without a cut-out has none."""
    monkeypatch.chdir(page.folder)
    text = SMALL + "cut-out: {bit: em-3.175, tabs: 2}\n"
    Path("bench.yaml").write_text(text, encoding="utf-8")
    for words in ("program bench.yaml -o bench.nc", "solid bench.yaml -o bench.3mf"):
        assert CliRunner().invoke(cli, words.split()).exit_code == 0
    for what, name in (("cut-out", "bench-cut-out.nc"), ("solid", "bench.3mf")):
        got = page.ask("take", {"text": text, "what": what, "file": "bench.yaml"})
        assert (got.status, got.body) == (200, Path(name).read_bytes()), what
        assert got.head["content-disposition"].endswith(name)

    assert (
        "does not say how its piece is cut out" in page.ask("take", {"text": SMALL, "what": "cut-out"}).wants
    )
    thin = SMALL.replace("thickness: 9 mm", "thickness: 0.5 mm")
    assert "it would go through" in page.ask("take", {"text": thin, "what": "solid"}).wants


def test_a_job_that_must_not_be_cut_gives_no_program_in_the_air(page: Served) -> None:
    """The answer is why, in the words of the finding."""
    got = page.ask("take", {"text": SMALL.replace("thickness: 9 mm", "thickness: 0.5 mm"), "what": "air"})

    assert got.status == 422
    assert "it would go through" in json.loads(got.body)["problems"][0]["want"]


def test_wrong_numbers_are_told_of_a_plan(page: Served) -> None:
    """A job that is no job yet has problems for a plan, by their keys."""
    _, last = planned(page, SMALL.replace("0.8 mm", "deep"))

    assert [one["path"] for one in last["problems"]] == ["groove.depth"]


def test_what_must_not_be_cut_is_marked(page: Served) -> None:
    """A program that is refused comes with its findings; a picture of it can be taken."""
    text = SMALL.replace("thickness: 9 mm", "thickness: 0.5 mm")
    _, last = planned(page, text)

    assert last["done"]["refused"]
    assert "through-the-piece" in [one["code"] for one in last["done"]["findings"]]
    assert b"Must not be cut" in page.ask("take", {"text": text, "what": "picture"}).body


def test_something_unknown_cannot_be_taken(page: Served) -> None:
    """What is not on the list is refused with the list."""
    got = page.ask("take", {"text": SMALL, "what": "all"})

    assert (got.status, "lines-dxf" in got.wants) == (422, True)


def test_a_plan_is_given_up_when_nobody_listens(page: Served) -> None:
    """The line closed, the process is free for the next: the plan of another job comes before the given up one could have."""
    line = http.client.HTTPConnection("127.0.0.1", page.port, timeout=60)
    line.request(
        "POST", f"/{page.token}/plan", json.dumps({"text": LARGE}), {"Origin": f"http://{page.host}"}
    )
    first = line.getresponse().readline()
    line.close()
    _, last = planned(page, SMALL)

    assert b'"stage"' in first
    assert "done" in last


def test_a_plan_that_is_not_wanted_any_more_raises(worker: Worker) -> None:
    """The next question is answered."""
    stop = threading.Event()
    with pytest.raises(GivenUpError):
        worker.ask("plan", LARGE, None, tell=lambda stage, share: stop.set(), stop=stop)

    assert b'"program"' in worker.ask("plan", SMALL, None)


def test_what_does_not_give_up_is_ended(worker: Worker) -> None:
    """Work that never looks up is ended with its process; a new one answers the next question."""
    worker.ask("plan", LARGE, None)  # so that nothing is to be told of when it is carved
    process, stop = worker._process, threading.Event()
    threading.Timer(0.1, stop.set).start()
    with pytest.raises(GivenUpError):
        worker.ask("take", LARGE, "carved", None, stop=stop)

    assert process.poll() is not None
    assert b'"program"' in worker.ask("plan", SMALL, None)


def test_a_layout_that_takes_long_is_ended_when_nobody_wants_it(worker: Worker) -> None:
    """Tens of thousands of lines are given up with their process, and a step back is looked at by a new one."""
    worker.ask("look", SMALL, [])
    process, stop = worker._process, threading.Event()
    huge = SMALL.replace("40 mm", "300 mm").replace("pitch: 20 mm", "pitch: 1 mm")
    threading.Timer(0.2, stop.set).start()
    with pytest.raises(GivenUpError):
        worker.ask("look", huge, [], stop=stop)

    assert process.poll() is not None
    assert json.loads(worker.ask("look", SMALL, []))["look"] is not None


def test_a_change_that_another_follows_is_not_laid_out(worker: Worker) -> None:
    """Asked for briefly, the text alone is changed."""
    edits = [{"path": "pattern.pitch", "value": "1 mm"}, {"path": "piece.width", "value": "300 mm"}]
    told = json.loads(worker.ask("look", SMALL, edits, True))

    assert (told["look"], told["problems"]) == (None, [])
    assert "pitch: 1 mm" in told["text"]


def test_a_process_that_is_only_starting_is_not_ended(tmp_path: Path) -> None:
    """Whoever types fast gives up plan after plan: the process comes up all the same."""
    worker, stop = Worker(Folder(tmp_path)), threading.Event()
    process = worker._process
    stop.set()
    for _ in range(5):
        with pytest.raises(GivenUpError):
            worker.ask("plan", SMALL, None, stop=stop)

    assert b'"program"' in worker.ask("plan", SMALL, None)
    assert worker._process is process
    worker.close()


def test_once_it_is_there_a_plan_has_nothing_to_wait_for() -> None:
    """All that a plan needs is loaded before it says that it is ready: given up while it loads, it would be ended."""
    code = (
        "import sys; from vcarve.serve.desk import Desk; loaded = set(sys.modules)\n"
        "Desk('.', set(), lambda *told: None).plan(sys.argv[1], None)\n"
        "print(*(name for name in set(sys.modules) - loaded if not name.startswith('encodings')))"
    )
    done = subprocess.run([sys.executable, "-c", code, SMALL], capture_output=True, text=True, check=True)

    assert done.stdout.split() == []


@pytest.mark.parametrize(
    ("what", "given"),
    [
        ("look", {"text": SMALL, "edits": []}),
        ("take", {"text": SMALL, "what": "picture"}),
        ("take", {"text": SMALL, "what": "lines-svg"}),
        ("rest", {"program": "", "told": "--pass", "where": "2"}),
        ("fit", {"edits": [], "job": SMALL}),
    ],
)
def test_nobody_works_for_whoever_has_gone(
    page: Served, monkeypatch: pytest.MonkeyPatch, what: str, given: dict[str, Any]
) -> None:
    """The line closed, what was asked on it is given up."""
    begun, heard = threading.Event(), threading.Event()

    def ask(self: Worker, what: str, *about: Any, stop: threading.Event, **more: Any) -> Any:
        begun.set()
        if stop.wait(30):
            heard.set()
        raise GivenUpError

    monkeypatch.setattr("vcarve.serve.app.Worker.ask", ask)
    line = http.client.HTTPConnection("127.0.0.1", page.port, timeout=60)
    line.request("POST", f"/{page.token}/{what}", json.dumps(given), {"Origin": f"http://{page.host}"})
    assert begun.wait(30)
    line.close()

    assert heard.wait(30)


def test_what_needs_no_plan_does_not_wait_for_one(page: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    """While one is being made, lines and what is run before the first cut are handed over by another process."""
    begun, end = threading.Event(), threading.Event()
    real = Worker.ask

    def ask(self: Worker, what: str, *about: Any, **more: Any) -> Any:
        if what == "plan":
            with self._asking:
                begun.set()
                end.wait(60)
            raise GivenUpError
        return real(self, what, *about, **more)

    monkeypatch.setattr("vcarve.serve.app.Worker.ask", ask)
    planning = threading.Thread(target=page.ask, args=("plan", {"text": LARGE}))
    planning.start()
    assert begun.wait(30)
    got = [
        page.ask("take", {"text": SMALL, "what": what}).status for what in ("lines-dxf", "trace", "coupon")
    ]
    end.set()
    planning.join()

    assert got == [200, 200, 200]


def test_whoever_waits_can_give_up(worker: Worker) -> None:
    """A question that waits for another to be answered is given up as well."""
    stop, begun = threading.Event(), threading.Event()
    first = threading.Thread(
        target=lambda: worker.ask("plan", LARGE, None, tell=lambda stage, share: begun.set()), daemon=True
    )
    first.start()
    begun.wait()
    stop.set()
    with pytest.raises(GivenUpError):
        worker.ask("plan", SMALL, None, stop=stop)
    first.join()


def test_a_process_that_has_died_is_started_anew(worker: Worker) -> None:
    """What was being worked out is told as lost, in words; the next question is answered."""

    def die(stage: str, share: float) -> None:
        worker._process.kill()

    with pytest.raises(InputError, match="memory"):
        worker.ask("plan", LARGE, None, tell=die)
    assert b'"program"' in worker.ask("plan", SMALL, None)


def test_a_fault_of_ours_is_told_as_such(worker: Worker) -> None:
    """It is no wrong number of the maker's."""
    with pytest.raises(InternalError, match="TypeError"):
        worker.ask("plan")


def test_problems_come_through_with_their_places(worker: Worker) -> None:
    """Key, line and value of a problem are those that a command tells."""
    with pytest.raises(InputError) as raised:
        worker.ask("plan", SMALL.replace("0.8 mm", "deep").replace("beech", "beach"), None)

    assert [(one.key, one.line, one.value) for one in raised.value.problems] == [
        ("piece.wood", 2, "beach"),
        ("groove.depth", 5, "deep"),
    ]


def test_a_program_is_not_made_twice_nor_kept_too_long(worker: Worker, tmp_path: Path) -> None:
    """The last one is kept by its text and by the files it names: one that is written again is planned again."""
    lines = '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="40mm" viewBox="0 0 40 40"><path d="M5 {0}H35"/></svg>'
    (tmp_path / "a.svg").write_text(lines.format(5))
    text = SMALL.replace("{name: asanoha, pitch: 20 mm}", "{drawing: a.svg}")
    stages: list[str] = []

    def ask() -> Any:
        stages.clear()
        return json.loads(worker.ask("plan", text, None, tell=lambda stage, share: stages.append(stage)))[
            "program"
        ]

    first = ask()
    assert stages
    assert (ask(), stages) == (first, [])
    (tmp_path / "a.svg").write_text(lines.format(15))
    assert ask() != first
