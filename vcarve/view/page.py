"""The dry-run page: one HTML file that holds the piece, the program and the player, and asks for nothing else.

The policy of every page forbids every request and every script or style other than the page's own, by their digests.

Its data are moves packed into little-endian arrays as base64, everything else as JSON.  Positions are 32-bit floats (0.03 µm
apart at 500 mm), times 64-bit.  A move starts where the one before ended unless it is listed under ``jumps``; arcs are listed
apart by move index.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Iterable
from importlib.resources import files
from typing import Any

import numpy as np
import numpy.typing as npt

from vcarve.dryrun.track import setup_of
from vcarve.errors import Finding, grouped
from vcarve.groove.width import VBit
from vcarve.layout.stages import Layout
from vcarve.program.moves import Plane
from vcarve.quantity import Figures
from vcarve.run import DryRun
from vcarve.view.look import SECOND, SECOND_SHARE, SUN, WOOD, palette_css
from vcarve.view.sheet import slots
from vcarve.view.still import pack, still

_PLAYER = ("data.js", "carve.js", "drawing.js", "player.js", "hands.js")
_AXES = {int(Plane.XY): (0, 1, 2), int(Plane.XZ): (2, 0, 1), int(Plane.YZ): (1, 2, 0)}
_START = 'show(JSON.parse(document.getElementById("data").textContent));'
_SLOT = re.compile(r"<!--slot:([a-z]+)-->")


def page_html(run: DryRun) -> str:
    """Return the whole page as text (UTF-8, about 40 bytes per move plus the program's text); same run, same bytes."""
    told = {**slots(run), "unit": run.figures.unit, "data": embed(payload(run))}
    return filled("page", player_js() + _START, told, palette_css())


def player_js() -> str:
    """Return the script of ``show(DATA, options)``, the player, and ``paintStill(canvas, DATA, how)``; nothing else gets a name.

    A player lasts until its ``stop()`` is called, and is made anew for other data.
    """
    inside = "\n".join(map(part, _PLAYER))
    show = f"const show = (DATA, options = {{}}) => {{\n{inside}\nreturn player;\n}};\n"
    return f"const {{ show, paintStill }} = (() => {{\n{part('still.js')}\n{show}return {{ show, paintStill }};\n}})();\n"


def filled(name: str, code: str, told: dict[str, str], palette: str) -> str:
    """Return the page of this name, its slots filled, with its style and script and a policy that lets in nothing else."""
    style = palette + part(f"{name}.css")
    script = f'"use strict";\n(() => {{\n{code}\n}})();\n'
    policy = (
        f"default-src 'none'; script-src '{_digest(script)}'; style-src '{_digest(style)}'; "
        "img-src data:; base-uri 'none'; form-action 'none'"
    )
    told = {**told, "policy": policy, "style": style, "script": script}
    return _SLOT.sub(lambda match: told[match.group(1)], part(f"{name}.html"))


def _digest(text: str) -> str:
    """Return the source expression by which a page's own style or script is allowed, and nothing else."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")


def part(name: str) -> str:
    """Return a file of the pages by its name."""
    return (files("vcarve.view") / "parts" / name).read_text(encoding="utf-8")


# --- the data that the script reads -------------------------------------------------------------------------------------


def json_of(value: Any) -> str:
    """Return short JSON, in ASCII."""
    return json.dumps(value, separators=(",", ":"), allow_nan=False)


def embed(value: Any) -> str:
    """Return JSON that may stand inside a script element: no ``<``, ``>``, ``&`` or line separators in plain form."""
    return json_of(value).replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def payload(run: DryRun) -> dict[str, Any]:
    """Return everything the page's script reads, as plain JSON values."""
    piece = _space(run) if run.layout is None else _piece(run.layout)
    return _stage(run.layout, piece, run.figures, run.findings) | program_payload(run)


def stage_payload(layout: Layout, findings: Iterable[Finding] = ()) -> dict[str, Any]:
    """Return what the page's script reads of a piece before there is a program, with the still that shows it finished.

    ``findings`` are marked where they are.  Joined with ``program_payload`` of a run it plays that run.
    """
    told = _stage(layout, _piece(layout), layout.job.figures, findings)
    return told | {"count": 0, "still": still(layout)}


def _stage(
    layout: Layout | None, piece: dict[str, Any], figures: Figures, findings: Iterable[Finding]
) -> dict[str, Any]:
    job = None if layout is None else layout.job
    setup, bit = setup_of(job), VBit(angle_deg=60.0, diameter_mm=6.0) if job is None else job.bit
    return {
        "piece": piece,
        "setup": [*setup.zero_mm, setup.top_mm, setup.turn_deg],
        "bit": {
            "angle": bit.angle_deg,
            "diameter": bit.diameter_mm,
            "tip": bit.tip_mm,
            "radius": bit.tip_radius_mm,
        },
        "clamps": [] if job is None else job.clamps_mm,
        "figures": {"unit": figures.unit, "mm": figures.unit_mm, "finer": figures.finer},
        "lights": [[*SUN], [*SECOND, SECOND_SHARE]],
        "findings": places_payload(findings),
    }


def places_payload(findings: Iterable[Finding]) -> list[list[dict[str, Any]]]:
    """Return the places that the page's script marks, of each group of findings."""
    return [
        [
            {"line": one.line, "at": None if one.at_mm is None else [float(v) for v in one.at_mm]}
            for one in group.findings
        ]
        for group in grouped(findings)
    ]


def program_payload(run: DryRun) -> dict[str, Any]:
    """Return what the page's script reads of a program: its lines, and every move with its times."""
    moves = run.reading.moves
    start, end, rise = moves.start_mm.copy(), moves.end_mm.copy(), None
    if (top := run.setup.top) is not None:
        # The page draws a flat piece: heights are those above the top where the bit is, and that is added where Z is read.
        rise = top.rise_mm(end[:, :2])
        start[:, 2] -= top.rise_mm(start[:, :2])
        end[:, 2] -= rise
    start[~moves.told] = np.nan
    end[~moves.told] = np.nan
    if len(moves) and start[0, 2] < run.setup.top_mm:
        # Inside the wood: a reader's guess, for the text does not say where the tool stands.
        start[0] = np.nan
    return {
        "count": len(moves),
        "first": _point(start[0]) if len(moves) else [0.0, 0.0, 0.0],
        "end": pack(end, "f4"),
        "jumps": _jumps(start, end),
        "arcs": _arcs(run),
        "motion": pack(moves.motion, "i1"),
        "line": pack(moves.line, "i4"),
        "feed": pack(np.nan_to_num(moves.feed_mm_min, nan=0.0), "f4"),
        "rpm": pack(moves.rpm, "f4"),
        "start": pack(run.times.start_s, "f8"),
        "duration": pack(run.times.move_s, "f8"),
        "pass": pack(run.pass_of, "i4"),
        "total": float(run.times.total_s),
        "program": list(run.reading.text_lines),
    } | ({} if rise is None else {"rise": pack(np.nan_to_num(rise), "f4")})


def _point(values: npt.NDArray[np.float64]) -> list[float] | None:
    return None if not np.isfinite(values).all() else [float(v) for v in values]


def _jumps(start: npt.NDArray[np.float64], end: npt.NDArray[np.float64]) -> list[list[Any]]:
    """Return moves that do not start where the one before ended: ``[index, [x, y, z] or None]``."""
    if len(start) < 2:
        return []
    broken = ~np.isclose(start[1:], end[:-1], rtol=0.0, atol=1e-9, equal_nan=True).all(axis=1)
    return [[int(i), _point(start[i])] for i in np.flatnonzero(broken) + 1]


def _arcs(run: DryRun) -> dict[str, str]:
    """Return arc moves: index; two in-plane axes and the normal one; centre along the in-plane axes; sweep."""
    moves = run.reading.moves
    index = np.flatnonzero((moves.sweep_rad != 0.0) & moves.told)
    axes = np.array([_AXES[int(p)] for p in moves.plane[index]], dtype=np.int8).reshape(-1, 3)
    centre = np.take_along_axis(moves.centre_mm[index], axes[:, :2].astype(np.int64), axis=1)
    return {
        "index": pack(index, "i4"),
        "axes": pack(axes, "i1"),
        "centre": pack(centre, "f4"),
        "sweep": pack(moves.sweep_rad[index], "f4"),
    }


def _piece(layout: Layout) -> dict[str, Any]:
    """Return the piece as the script reads it."""
    piece = layout.job.piece
    return {
        "known": True,
        "width": float(piece.width_mm),
        "height": float(piece.height_mm),
        "centre": [0.0, 0.0],
        "tint": piece.wood.tint,
        "rings": [np.round(ring, 4).tolist() for ring in layout.rings],
    }


def _space(run: DryRun) -> dict[str, Any]:
    """Return the space that the cutting moves take, in place of a piece that is not known: its top at Z0, 5 mm to spare."""
    boxes = np.stack(run.boxes_mm, axis=1)[run.reading.moves.told]
    boxes = boxes[np.isfinite(boxes).all(axis=(1, 2))]
    cut = boxes[boxes[:, 0, 2] < 0.0]
    chosen = next((some for some in (cut, boxes) if len(some)), np.zeros((1, 2, 3)))
    left, front, _ = chosen[:, 0].min(axis=0) - 5.0
    right, back, _ = chosen[:, 1].max(axis=0) + 5.0
    corners = np.array([[left, front], [right, front], [right, back], [left, back]])
    return {
        "known": False,
        "width": float(right - left),
        "height": float(back - front),
        "centre": corners.mean(axis=0).tolist(),
        "tint": WOOD,
        "rings": [np.round(corners, 4).tolist()],
    }
