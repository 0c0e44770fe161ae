"""Errors, problems and findings.

A *problem* is something wrong with what was typed or read: it names file, line, key path, the value as written
and what would be right.  Problems make the command end with exit code 2.
A *finding* is something wrong with a job or a program that was understood: it has a stable code, a sentence and a
place.  Findings that forbid cutting make the command end with exit code 1.
A fault of our own makes it end with exit code 70.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import KW_ONLY, dataclass, replace

from vcarve.codes import CODES, Severity

EXIT_REFUSED = 1
EXIT_BAD_INPUT = 2
EXIT_INTERNAL = 70  # EX_SOFTWARE of BSD's sysexits.h

NAMED_MOST = 3  # of several that have the same finding
MOST_NAMED = 20  # findings of one kind that are listed one by one
# A figure that says how much, and not where along X or Y.
_HOW_MUCH = re.compile(r"(?<![\w.-])(?<![XY] )-?[0-9]+(?:\.[0-9]+)?")

LONGEST_VALUE = 120  # characters of what was written that a message repeats


def printable(text: str) -> str:
    """Return a text in which what a terminal would obey rather than show is spelled out, such as ``\\x1b``.

    Control characters, line breaks and marks that turn the direction of writing; everything that can be seen stays.
    """
    if text.isprintable():
        return text
    return "".join(sign if sign.isprintable() else ascii(sign)[1:-1] for sign in text)


def cut(written: str) -> str:
    """Return the beginning of what was written, as much as a message repeats."""
    return f"{written[:LONGEST_VALUE]}…" if len(written) > LONGEST_VALUE else written


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """One wrong value in something a person wrote.

    ``file``, ``line`` (1-based), ``key`` (dotted path such as ``groove.depth``) and ``value`` (as written) are
    ``None`` where there is none.  ``want`` says what is wrong and what would be right, as a sentence.
    """

    want: str
    file: str | None = None
    line: int | None = None
    key: str | None = None
    value: str | None = None

    def __str__(self) -> str:
        place = ":".join(str(part) for part in (self.file, self.line) if part is not None)
        head = ": ".join(part for part in (place, cut(self.key or "")) if part)
        shown = None if self.value is None else repr(cut(self.value))
        return printable(": ".join(part for part in (head, shown, self.want) if part))


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing a check found in a job or a program that was understood.

    ``code`` is stable and short (``travel``, ``rapid-in-wood``), one of ``codes.CODES``; ``mild`` makes a caution of what would
    be refused.  ``line`` is the program's line, ``at_mm`` a place on the piece (piece
    coordinates, origin at the piece's centre), each ``None`` where there is none.  ``more`` counts further places like
    this one that are not listed.
    """

    code: str
    sentence: str
    _: KW_ONLY
    mild: bool = False
    line: int | None = None
    at_mm: tuple[float, float] | None = None
    more: int = 0

    def __post_init__(self) -> None:
        if self.code not in CODES:
            raise InternalError(f"There is no finding of the code {self.code!r}.")

    @property
    def severity(self) -> Severity:
        """How much it weighs: ``refuse`` (must not be cut) or ``caution`` (worth a look)."""
        return "caution" if self.mild else CODES[self.code][0]

    def __str__(self) -> str:
        return _told(self)


def listed(rows: Sequence[int], make: Callable[[int], Finding]) -> list[Finding]:
    """Return a finding for each row, or for the first of very many, the last of which counts the others."""
    found = [make(row) for row in rows[:MOST_NAMED]]
    if len(rows) > MOST_NAMED:
        found[-1] = replace(found[-1], more=len(rows) - MOST_NAMED)
    return found


def at_places(said: Finding, places_mm: Sequence[Sequence[float]]) -> list[Finding]:
    """Return a finding once for each of its places on the piece, or for the first of very many."""
    return listed(
        range(len(places_mm)), lambda row: replace(said, at_mm=(places_mm[row][0], places_mm[row][1]))
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Alike:
    """Findings that say the same of several places, or differ in a figure only, in the order of the program."""

    findings: tuple[Finding, ...]

    @property
    def first(self) -> Finding:
        """The one that is told."""
        return self.findings[0]

    @property
    def count(self) -> int:
        """How many places there are, those not listed as well."""
        return sum(1 + finding.more for finding in self.findings)

    @property
    def word(self) -> str:
        """What it means for cutting, in words."""
        return "must not be cut" if self.first.severity == "refuse" else "caution"

    def __str__(self) -> str:
        same = all(one.sentence == self.first.sentence for one in self.findings)
        return _told(
            self.first, f"{self.count} places" if same else f"{self.count - 1} more like it", self.count
        )


def _told(finding: Finding, others: str = "", count: int = 1) -> str:
    """Return a finding as a line: where, what, the others, and its code."""
    places = f" ({others})" if count > 1 else ""
    where = "" if finding.line is None else f"{'from ' if places else ''}line {finding.line}: "
    return printable(f"{where}{finding.sentence}{places} [{finding.code}]")


def grouped(findings: Iterable[Finding]) -> tuple[Alike, ...]:
    """Put findings together that differ in how much at most; what forbids cutting comes first, the rest in their order."""
    groups: dict[tuple[str, str, str], list[Finding]] = {}
    for finding in findings:
        alike = finding.severity, finding.code, _HOW_MUCH.sub("0", finding.sentence)
        groups.setdefault(alike, []).append(finding)
    told = [Alike(findings=tuple(group)) for group in groups.values()]
    return tuple(sorted(told, key=lambda group: group.first.severity != "refuse"))


def of_each(told: Iterable[tuple[str, Iterable[Finding]]]) -> Iterator[Finding]:
    """Yield the findings of several things, each once, with the names of those that have it."""
    names: dict[Finding, list[str]] = {}
    for name, findings in told:
        for finding in dict.fromkeys(findings):
            names.setdefault(finding, []).append(name)
    for finding, having in names.items():
        more = f" and {len(having) - NAMED_MOST} more" if len(having) > NAMED_MOST else ""
        yield replace(finding, sentence=f"{', '.join(having[:NAMED_MOST])}{more}: {finding.sentence}")


def refuses(findings: Iterable[Finding]) -> bool:
    """Tell whether any of the findings forbids cutting."""
    return any(finding.severity == "refuse" for finding in findings)


class MizoError(Exception):
    """Root of every error this package raises on purpose."""

    exit_code = EXIT_BAD_INPUT


class InputError(MizoError, ValueError):
    """What a person wrote is wrong; carries every problem found, not just the first."""

    def __init__(self, problems: Iterable[Problem] | Problem | str) -> None:
        if isinstance(problems, str):
            problems = Problem(want=problems)
        self.problems = (problems,) if isinstance(problems, Problem) else tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


class RefusedError(MizoError, ValueError):
    """The job or program was understood but must not be cut; carries every finding."""

    exit_code = EXIT_REFUSED

    def __init__(self, findings: Iterable[Finding]) -> None:
        self.findings: tuple[Finding, ...] = tuple(findings)
        super().__init__("\n".join(str(finding) for finding in self.findings))


class InternalError(MizoError, RuntimeError):
    """Our own work failed one of its own proofs: a fault in Mizo, not in what the user wrote."""

    exit_code = EXIT_INTERNAL
