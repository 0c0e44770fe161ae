"""A drawing of lines, read from an SVG or a DXF file: what the user drew, on the piece, ready to be cut."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from vcarve.drawing.join import Mended, join
from vcarve.drawing.sheet import Sheet
from vcarve.errors import Finding, InputError, Problem
from vcarve.job.document import read_bytes
from vcarve.job.sections import CLOSE_GAPS_MM
from vcarve.plane.arcs import boxes
from vcarve.plane.arrays import Floats, Ints

LARGEST_FILE = 20_000_000  # bytes
SMALLEST_MM = 0.01
_PAGE_MATCH_MM = 0.1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawing:
    """Lines in millimetres about the origin, Y up, as ``curves`` (n, 5), see ``plane.arcs``.

    A line's ``feature`` (n,) is the index of its layer in ``layers``; ``size_mm`` is the size of the rectangle round all
    lines; ``on_page`` says that they lie as on their page, else they are centred; ``findings`` (all cautions) say what was
    assumed and left out, ``mended`` what was closed and merged; ``known`` are all the file's layers and colours, sorted.
    """

    curves: Floats
    feature: Ints
    layers: tuple[str, ...]
    known: tuple[str, ...]
    findings: tuple[Finding, ...]
    mended: tuple[Mended, ...]
    size_mm: tuple[float, float]
    on_page: bool


def read_drawing(
    path: str | Path,
    *,
    close_gaps_mm: float = CLOSE_GAPS_MM,
    keys: Collection[str] = (),
    piece_mm: tuple[float, float] | None = None,
) -> Drawing:
    """Read the lines of an SVG or DXF file.

    Each line's layer is the first of its names (in SVG the groups around it from the inside out and its colour, in DXF its
    layer and its colour, colours as ``#rrggbb``) that is in ``keys``, and lines on none of them are left out; without ``keys``
    it is its first name.  The lines are centred about the origin; where the drawing's page (SVG width and height, DXF
    limits) has the size ``piece_mm``, the page is centred instead.  Raises ``InputError`` for what cannot be read, is not
    safe to read, or has no lines.
    """
    file = Path(path)
    sheet = _sheet(file)
    every, corners, names = sheet.lines()
    kept = _layered(sheet, names, keys)
    left = ", ".join(f"{what} ({count})" for what, count in sorted(sheet.ignored.items()))
    known = tuple(sorted({name for each in names for name in each}))
    if not kept:
        want = "the drawing has no lines" + (f"; it holds {left}, which cannot be cut" if left else "")
        if names:
            want = f"the drawing has no lines on {', '.join(sorted(keys))}; its layers and colours are {', '.join(known[:20])}"
        raise InputError(Problem(want=want, file=str(file)))
    chosen, layers = list(kept), tuple(dict.fromkeys(kept.values()))
    curves = every[chosen]
    box = boxes(curves)
    around, on_page = np.array([box[:, :2].min(axis=0), box[:, 2:].max(axis=0)]), False
    width, height = (around[1] - around[0]).tolist()
    if sheet.page_mm is not None and piece_mm is not None:
        page = np.reshape(sheet.page_mm, (2, 2))
        on_page = bool(np.abs(page[1] - page[0] - piece_mm).max() <= _PAGE_MATCH_MM)
    middle = (page if on_page else around).mean(axis=0)
    joined, feature, mended = join(
        curves - np.array([*middle, *middle, 0.0]),
        corners[chosen],
        [layers.index(name) for name in kept.values()],
        close_gaps_mm,
    )
    if not len(joined):
        raise InputError(
            Problem(want="the drawing has no line longer than the gaps to close", file=str(file))
        )
    told = [Finding("drawing-read", sentence) for sentence in sheet.cautions]
    for what, places in sheet.flattened.items():
        more = f" The same in {len(places) - 1} more." if len(places) > 1 else ""
        sentence = f"{file.name}, {places[0]}: {what}.{more}"
        told.append(Finding("drawing-flattened", sentence))
    if left:
        told.append(Finding("drawing-ignored", f"Left out: {left}."))
    if max(width, height) < SMALLEST_MM:
        want = f"the whole drawing is {max(width, height):.2g} mm large; check its units"
        raise InputError(Problem(want=want, file=str(file)))
    return Drawing(
        curves=joined,
        feature=feature,
        layers=layers,
        known=known,
        findings=tuple(told),
        mended=tuple(mended),
        size_mm=(width, height),
        on_page=on_page,
    )


def _sheet(file: Path) -> Sheet:
    kind = file.suffix.lower()
    if kind not in (".svg", ".dxf"):
        raise InputError(Problem(want="a drawing should be an .svg or a .dxf file", file=str(file)))
    content = read_bytes(str(file), LARGEST_FILE)
    if len(content) > LARGEST_FILE:
        want = f"the file is larger than {LARGEST_FILE // 1_000_000} MB; draw less at once"
        raise InputError(Problem(want=want, file=str(file)))
    if kind == ".svg":
        from vcarve.drawing.svg import read_svg

        return read_svg(content, str(file))
    from vcarve.drawing.dxf import read_dxf

    return read_dxf(content, str(file))


def _layered(sheet: Sheet, every: Sequence[tuple[str, ...]], keys: Collection[str]) -> dict[int, str]:
    """Return the lines to keep, by their number, with the layer of each."""
    wanted = {key.casefold(): key for key in keys}
    kept = {}
    for number, names in enumerate(every):
        found = [wanted[one.casefold()] for one in names if one.casefold() in wanted] if keys else names
        if found:
            kept[number] = found[0]
        else:
            sheet.ignored["lines on other layers"] += 1
    return kept
