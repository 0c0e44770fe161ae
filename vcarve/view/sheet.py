"""The facts in words: the column beside the piece, and the one-page bench sheet that is printed.

All text a person wrote is escaped here; nothing in these pieces of HTML needs a script.  Where they stand ``parts/page.html``
says.
"""

from __future__ import annotations

from html import escape
from pathlib import Path

from vcarve.errors import Alike, grouped
from vcarve.quantity import counted, format_duration
from vcarve.run import DryRun, Made
from vcarve.view.facts import GROOVE, PLAN, PROGRAM, STOCK, TOOL, Fact, Rows, chosen, facts, kept, unbroken
from vcarve.view.section import section_svg, zero_svg

_AT_MOST_ON_SHEET = 6
UNKNOWN = "not given"

# What every sheet and page says about safety, in few words (trade practice in general; no substitute for a manual).
FIRST = "The maker’s manual of your machine and your local rules come first."

GENERAL: tuple[tuple[str, str], ...] = (
    ("Eyes", "Impact-rated glasses for you and whoever watches: a broken tip flies."),
    ("Ears", "Wear protection for anything longer than a short cut."),
    ("Dust", "Collect it where it is made; a mask against the fine part."),
    (
        "Holding",
        "Held against sideways and upward pull; clamps clear of the bit, tried with the spindle off.",
    ),
    ("Unattended", "Never. Stay within reach of the stop, and know whether it stops the spindle too."),
    ("Hands", "No gloves, loose sleeves, long hair or cords near the spindle; wait until it stands still."),
)

CHECKS: tuple[str, ...] = (
    "Wood true, clean and held down",
    "Clamps outside the bit’s reach",
    "Bit whole, seated well, spindle off meanwhile",
    "Zero set, and tried again after the bit",
    "Run once in the air above the wood",
    "Glasses, ears, dust collection",
    "Stop within reach",
)

# Of a piece that is cut out of its board.
CUT_OUT_CHECKS: tuple[str, ...] = (
    "Spoil board under the piece, board held beyond the cut-out",
    "Cut-out last: bit changed, spindle off, Z0 set again",
)

# Of a piece that does not lie straight: an edge that slants shows where the corner is at the corner alone.
TURNED = "Turn measured, and X0 Y0 found at the {} itself, not along an edge"


def title(run: DryRun) -> str:
    """Return what page and sheet are called: as the job is."""
    return "Dry run" if run.job is None else run.job.name


def rows(run: DryRun) -> dict[str, Rows]:
    """Return what there is to say of stock, tool, groove, program and plan (see ``facts``); nothing of what is not known."""
    figures, z_mm = run.figures, run.extents_mm.get("z")
    lines = f"{len(run.reading.text_lines)} lines"
    z = f"{unbroken(figures.number(z_mm[0]))} to {figures.length(z_mm[1])}" if z_mm else ""
    known = [
        Fact("Machine", run.machine.title, TOOL),
        Fact("Running time", unbroken(format_duration(run.times.total_s)), PROGRAM),
        Fact("Program", lines if run.file is None else f"{Path(run.file).name}, {lines}", PROGRAM),
        Fact("Passes", str(run.passes), PROGRAM),
        Fact("Z", z, PROGRAM),
        Fact("Safe height", f"{figures.length(run.machine.safe_height_mm)} above the top", PROGRAM),
        Fact("Corners", run.corners, PROGRAM),
    ]
    if run.cut_out is not None:
        takes = unbroken(format_duration(run.cut_out.times.total_s))
        known.append(Fact("Cut-out", f"{takes}, by a program of its own", PROGRAM))
    if run.layout is None:
        unknown = (("Piece", STOCK), ("Zero", STOCK), ("Bit", TOOL), ("Groove", GROOVE))
        known += [Fact(name, UNKNOWN, part) for name, part in unknown]
    else:
        known += facts(run.layout, run.plan if isinstance(run, Made) else None)
    return {part: chosen(known, part) for part in (STOCK, TOOL, GROOVE, PROGRAM, PLAN)}


def table(told: Rows) -> str:
    """Return two columns of terms and values."""
    body = "".join(
        f"<div><dt>{escape(name)}</dt><dd>{escape(kept(value))}</dd></div>" for name, value in told
    )
    return f'<dl class="rows">{body}</dl>'


def verdict(groups: tuple[Alike, ...]) -> tuple[str, str]:
    """Return one word for the style sheet and one sentence for people; ``groups`` are findings by ``errors.grouped``."""
    refused = sum(group.first.severity == "refuse" for group in groups)
    if refused:
        return "refuse", f"Must not be cut: {counted(refused, 'reason')}"
    if groups:
        return "caution", f"No check forbids cutting: {counted(len(groups), 'caution')}"
    return "clean", "Every check passed"


def findings_html(groups: tuple[Alike, ...]) -> str:
    """Return the findings as buttons, one for each sentence; the page's script shows its places one after the other."""
    if not groups:
        return '<p class="quiet">Every check passed.</p>'
    items = []
    for i, group in enumerate(groups):
        first, many = group.first, group.count > 1
        line = "" if first.line is None else f" · {'from ' * many}line {first.line}"
        places = f' · <output aria-live="polite">{group.count} places</output>' * many
        items.append(
            f'<li><button type="button" class="finding {first.severity}" data-finding="{i}" aria-pressed="false">'
            f'<b class="mark" aria-hidden="true">{i + 1}</b><span>{escape(kept(first.sentence))}'
            f"<small>{group.word}{line}{places} · {escape(first.code)}</small></span></button></li>"
        )
    return f'<ol class="findings">{"".join(items)}</ol>'


def slots(run: DryRun) -> dict[str, str]:
    """Return what the page says of a run in its slots, in the column as well as on the bench sheet."""
    told, groups, checks = rows(run), grouped(run.findings), CHECKS
    kind, sentence = verdict(groups)
    section = "" if run.layout is None else section_svg(run.layout.job, run.layout.kinds)
    groove = section + table(told[GROOVE])
    if run.job is not None:
        checks += CUT_OUT_CHECKS * (run.job.cut_out is not None)
        checks += (TURNED.format(run.job.zero.corner),) * bool(run.job.zero.turn)
    found = "".join(
        f"<li><b>{group.word.capitalize()}:</b> {escape(kept(str(group)))}</li>"
        for group in groups[:_AT_MOST_ON_SHEET]
    )
    more = len(groups) - _AT_MOST_ON_SHEET
    found += f"<li>and {more} more on the page</li>" if more > 0 else ""
    return {
        "title": escape(title(run)),
        "tab": escape(("Must not be cut: " if kind == "refuse" else "") + title(run)),
        "kind": kind,
        "verdict": sentence,
        "findings": findings_html(groups),
        "foundsign": '<span class="found">finding</span>' if groups else "",
        "found": f'<ol class="found">{found}</ol>' if found else "",
        "card": f'<section class="card"><h2>Groove <small>to scale</small></h2>{groove}</section>'
        if section
        else "",
        "groove": groove,
        "run": table(told[PROGRAM] + told[PLAN]),
        "program": table(told[PROGRAM]),
        "bench": table(told[STOCK] + told[TOOL]),
        "zero": zero_svg(run, 130.0),
        "datum": zero_svg(run, 150.0),
        "ticks": "".join(f'<li><i class="box"></i>{escape(text)}</li>' for text in checks),
        "general": "".join(f"<li><b>{name}.</b> {text}</li>" for name, text in GENERAL),
        "first": FIRST,
    }
