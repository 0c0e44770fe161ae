"""The facts in words: the column beside the piece, and the one-page bench sheet that is printed.

All text a person wrote is escaped here; nothing in these pieces of HTML needs a script.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from pathlib import Path

from vcarve.errors import Alike, grouped
from vcarve.groove.width import tip_words
from vcarve.run import DryRun, Made
from vcarve.view.cautions import CHECKS, FIRST, GENERAL, TURNED
from vcarve.view.section import section_svg, zero_svg
from vcarve.view.wording import NBSP, duration, kept, length, plain, share, unbroken

Row = tuple[str, str]
_AT_MOST_ON_SHEET = 6
UNKNOWN = "not given"


def title(run: DryRun) -> str:
    """Return what page and sheet are called: as the job is."""
    return "Dry run" if run.job is None else run.job.name


def stock_rows(run: DryRun) -> list[Row]:
    """Return piece and zero."""
    job, figures = run.job, run.figures
    if job is None:
        return [("Piece", UNKNOWN), ("Zero", UNKNOWN)]
    size = figures.size(job.piece.width_mm, job.piece.height_mm, job.piece.thickness_mm)
    rows = [("Wood", job.wood.title), ("Piece", unbroken(size)), ("Zero", job.zero.place)]
    if job.zero.turn:
        rows.append(("Turn", job.zero.turn))
    if job.clamps:
        tallest = max(clamp.above_mm for clamp in job.clamps)
        rows.append(("Clamps", f"{len(job.clamps)}, up to {length(tallest, figures)} above the top"))
    return rows


def tool_rows(run: DryRun) -> list[Row]:
    """Return machine, bit and speeds."""
    machine = ("Machine", run.machine.title)
    job, figures = run.job, run.figures
    if job is None:
        return [machine, ("Bit", UNKNOWN)]
    bit = job.bit
    tip = tip_words(bit, lambda value_mm: length(value_mm, figures))
    size = f"{plain(bit.angle_deg, 2)}°, ⌀{NBSP}{length(bit.diameter_mm, figures)}"
    return [
        machine,
        ("Bit", f"{bit.name or 'V-bit'}, {size}, {tip}"),
        ("Shank", f"⌀{NBSP}{length(bit.shank_mm, figures)}"),
        ("Spindle", f"{plain(job.spindle_rpm, 0)}{NBSP}rpm"),
        ("Feed", unbroken(figures.feed(job.cut_mm_min))),
        ("Plunge", unbroken(figures.feed(job.plunge_mm_min))),
    ]


def groove_rows(run: DryRun) -> list[Row]:
    """Return width and depth of each kind of groove, and the narrowest land; nothing without a job."""
    layout, figures = run.layout, run.figures
    if layout is None:
        return []
    rows = [
        (
            kind.name.capitalize(),
            f"{length(kind.width_mm, figures)} wide, {length(kind.depth_mm, figures)} deep",
        )
        for kind in layout.kinds
    ]
    if layout.taper:
        rows.append(("Taper", layout.taper))
    return [*rows, ("Narrowest land", length(layout.grooves.narrowest_mm, figures))]


def program_rows(run: DryRun) -> list[Row]:
    """Return the program, how long it runs, and how deep and how high the bit goes."""
    figures, lines = run.figures, f"{len(run.reading.text_lines)} lines"
    rows: list[Row] = [
        ("Running time", duration(run.times.total_s)),
        ("Program", lines if run.file is None else f"{Path(run.file).name}, {lines}"),
        ("Passes", str(run.passes)),
    ]
    if run.extents_mm:
        low, high = run.extents_mm["z"]
        rows.append(("Z", f"{unbroken(figures.number(low))} to {length(high, figures)}"))
    rows.append(("Safe height", f"{length(run.machine.safe_height_mm, figures)} above the top"))
    if run.corners:
        rows.append(("Corners", run.corners))
    return rows


def plan_rows(run: DryRun) -> list[Row]:
    """Return lengths, and how far the plan is from the least time; nothing of a program that was not planned just now."""
    if not isinstance(run, Made):
        return []
    plan, figures = run.plan, run.figures
    return [
        ("Lifts", str(plan.lifts)),
        ("Lines", unbroken(figures.way(run.network.cut_mm))),
        ("Cut", unbroken(figures.way(plan.cut_mm))),
        ("Recut", unbroken(figures.way(plan.recut_mm))),
        ("In the air", unbroken(figures.way(plan.rapid_mm))),
        ("At even speed", duration(plan.proof.plan_s)),
        ("Proven least", f"{duration(plan.proof.bound_s)} (plan {share(plan.proof.above_bound)} above)"),
    ]


def table(rows: Iterable[Row], class_: str = "") -> str:
    """Return two columns of terms and values."""
    body = "".join(f"<div><dt>{escape(name)}</dt><dd>{escape(value)}</dd></div>" for name, value in rows)
    return f'<dl class="rows {class_}">{body}</dl>'


def verdict(groups: tuple[Alike, ...]) -> tuple[str, str]:
    """Return one word for the style sheet and one sentence for people; ``groups`` are findings by ``errors.grouped``."""
    refused = sum(group.first.severity == "refuse" for group in groups)
    if refused:
        return "refuse", f"Must not be cut: {refused} {'reason' if refused == 1 else 'reasons'}"
    if groups:
        return (
            "caution",
            f"No check forbids cutting: {len(groups)} {'caution' if len(groups) == 1 else 'cautions'}",
        )
    return "clean", "Every check passed"


def findings_html(groups: tuple[Alike, ...]) -> str:
    """Return the findings as buttons, one for each sentence; the page's script shows its places one after the other."""
    if not groups:
        return '<p class="quiet">Every check passed.</p>'
    items = []
    for i, group in enumerate(groups):
        first = group.first
        line = "" if first.line is None else f" · {'from ' if group.count > 1 else ''}line {first.line}"
        places = "" if group.count == 1 else f' · <output aria-live="polite">{group.count} places</output>'
        items.append(
            f'<li><button type="button" class="finding {first.severity}" data-finding="{i}" aria-pressed="false">'
            f'<b class="mark" aria-hidden="true">{i + 1}</b><span>{escape(kept(first.sentence))}'
            f"<small>{group.word}{line}{places} · {escape(first.code)}</small></span></button></li>"
        )
    return f'<ol class="findings">{"".join(items)}</ol>'


def column_html(run: DryRun) -> str:
    """Return everything in the column that never changes while the page plays."""
    parts = []
    if run.layout is not None:
        parts.append(_card("Groove", "to scale", _grooves(run)))
    parts.append(_card("Run", "", table([*program_rows(run), *plan_rows(run)])))
    parts.append(_card("Bench", "", table([*stock_rows(run), *tool_rows(run)]) + zero_svg(run, 130.0)))
    general = "".join(f"<li><b>{name}</b> {text}</li>" for name, text in GENERAL)
    parts.append(_card("Before you cut", "", f'<ul class="cautions">{general}</ul><p>{FIRST}</p>'))
    return "".join(parts)


def _grooves(run: DryRun) -> str:
    drawing = "" if run.layout is None else section_svg(run.layout.job, run.layout.kinds)
    return drawing + table(groove_rows(run))


def _card(title: str, note: str, body: str) -> str:
    aside = f" <small>{note}</small>" if note else ""
    return f'<section class="card"><h2>{title}{aside}</h2>{body}</section>'


def sheet_html(run: DryRun) -> str:
    """Return the bench sheet: shown only on paper, laid out to fit one page of A4 or letter."""
    groups = grouped(run.findings)
    kind, sentence = verdict(groups)
    datum, stock, turned = "", stock_rows(run), []
    if run.job is not None:
        zero = run.job.zero
        datum = f"<figure>{zero_svg(run, 150.0)}<figcaption>Zero: {escape(zero.place)}</figcaption></figure>"
        stock = [row for row in stock if row[0] != "Zero"]
        turned = [TURNED.format(zero.corner)] if zero.turn else []
    ticks = "".join(f'<li><i class="box"></i>{escape(text)}</li>' for text in (*CHECKS, *turned))
    general = "".join(f"<li><b>{name}.</b> {text}</li>" for name, text in GENERAL)
    found = "".join(
        f"<li><b>{group.word.capitalize()}:</b> {escape(kept(str(group)))}</li>"
        for group in groups[:_AT_MOST_ON_SHEET]
    )
    more = len(groups) - _AT_MOST_ON_SHEET
    found += f"<li>and {more} more on the page</li>" if more > 0 else ""
    findings = f'<ol class="found">{found}</ol>' if found else ""
    return f"""<section class="sheet" aria-hidden="true">
<header><h1>{escape(title(run))}</h1><p class="verdict {kind}">{sentence}</p></header>
{findings}
<div class="top"><figure class="picture"><canvas id="sheet-picture" width="10" height="10"></canvas></figure>
<div class="side">{datum}{table(stock)}{table(tool_rows(run))}</div></div>
<div class="middle"><div><h2>Groove</h2>{_grooves(run)}</div>
<div><h2>Program</h2>{table(program_rows(run))}</div></div>
<div class="bottom"><div><h2>Tick before the start</h2><ul class="ticks">{ticks}</ul>
<p class="hand">Date<i></i>Cut by<i></i></p></div>
<div><h2>Mind</h2><ul class="mind">{general}</ul><p><b>{FIRST}</b></p></div></div>
</section>"""
