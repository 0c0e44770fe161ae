"""Wrong job files: the whole message of each is pinned beside it."""

from __future__ import annotations

from pathlib import Path

import pytest

from vcarve.errors import EXIT_BAD_INPUT, InputError
from vcarve.job.records import load_job

FOLDER = Path(__file__).parent / "wrong"
CASES = sorted(path.name for path in FOLDER.glob("*.yaml"))


@pytest.mark.parametrize("name", CASES)
def test_wrong_job_gets_its_message(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The file is refused with exactly the text beside it."""
    monkeypatch.chdir(FOLDER)
    expected = (FOLDER / name).with_suffix(".txt").read_text(encoding="utf-8")

    with pytest.raises(InputError) as caught:
        load_job(name)

    assert f"{caught.value}\n" == expected
    assert caught.value.exit_code == EXIT_BAD_INPUT


def test_messages_have_no_words_of_the_libraries() -> None:
    """No message falls back on the words of a library or on a sentence that says nothing."""
    said = "\n".join(path.read_text(encoding="utf-8") for path in FOLDER.glob("*.txt"))

    for word in (
        "pydantic",
        "Input should",
        "Field required",
        "Extra inputs",
        "while parsing",
        "another form",
    ):
        assert word not in said
