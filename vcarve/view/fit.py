"""A fit of measured widths in words and figures, and drawn with its residuals."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict
from typing import Any

import numpy as np

from vcarve.coupon.fit import Fit, angle_deg
from vcarve.groove.width import Spread
from vcarve.quantity import Figures, counted, format_deg
from vcarve.view.facts import Rows
from vcarve.view.look import LIGHT, SANS, WOOD
from vcarve.view.svg import drawn, svg, text


def fit_rows(fit: Fit) -> Rows:
    """Return what a fit says, as labels and texts; uncertainties are standard ones, intervals hold in 95 of 100 coupons."""
    figures, line, table = fit.table.figures, fit.line, fit.table
    readings = sum(len(groove.widths_mm) for groove in table.grooves)
    low, high = fit.angle_ends_deg
    sold = table.bit.angle_deg
    inside = "inside it" if low <= sold <= high else "outside it: the bit is not what it is sold as"
    rows = [
        ("measured", f"{counted(len(fit.groove), 'groove')}, {counted(readings, 'place')}"),
        ("angle", f"{_angle(fit)}, with its standard uncertainty"),
        ("", f"95 %: {format_deg(low)} to {format_deg(high)}; the {format_deg(sold)} it is sold as lie {inside}"),
        ("width", f"{figures.known(line.start_mm, line.u_start_mm)} at no depth, and {line.slope:.4f} ± {line.u_slope:.4f} mm "
         f"more for each mm of depth; correlation {line.together:.2f}"),
    ]  # fmt: skip
    scattered = bool(np.isfinite(line.freedom))
    source = (
        f"from the scatter, {counted(int(line.freedom), 'degree')} of freedom" if scattered else "as given"
    )
    if scattered and table.uncertainty_mm is not None:
        source += f"; the {figures.small(table.uncertainty_mm)} given is too little for it"
    rows.append(("", f"one groove: ± {figures.length(line.deviation_mm, 4)}, {source}"))
    round_ = bool(table.bit.tip_radius_mm)
    tip, u_tip = (one / fit.begins for one in fit.tip_mm)
    told = f"{'rounded to ' * round_}{figures.known(tip, u_tip)}"
    if fit.deeper_mm is None:
        what = "radius" if round_ else "flat"
        rows += [
            ("tip", f"{told}: the tip's {what} together with the error of the zero"),
            ("", "widths alone do not tell the two apart: measure the tip under a loupe (key 'tip'), or touch the zero "
             "again beside the coupon (key 'deeper'); the angle is free of both, not of a scale that is off"),
        ]  # fmt: skip
    else:
        deeper, u_deeper = fit.deeper_mm
        way = "deeper" if deeper >= 0.0 else "less deep"
        went = f"the bit went {figures.known(abs(deeper), u_deeper)} {way} than the program says"
        rows += [("tip", told), ("zero", went)]
    return rows


def holds(fit: Fit) -> str:
    """Return when what was found of the bit holds."""
    figures, zero = fit.table.figures, "with the zero set as it was set here"
    if fit.deeper_mm is not None:
        deeper = fit.deeper_mm[0]
        zero = "where the zero is right"
        if abs(deeper) >= fit.table.read_to_mm:
            zero += f": here it was {figures.length(abs(deeper))} too {'low' if deeper > 0.0 else 'high'}"
    return (
        f"It holds for this bit as it is ground now, {zero}. Add 'height: {figures.length(0.02)}' to its uncertainty for how "
        "closely you set the zero each time."
    )


def _angle(fit: Fit) -> str:
    return f"{format_deg(fit.angle_deg, trim=False)} ± {format_deg(fit.u_angle_deg, trim=False)}"


def fit_cautions(fit: Fit) -> Iterator[str]:
    """Yield what makes the fit doubtful: outliers, and what it would be without them; a tip that is less than none."""
    figures = fit.table.figures
    yield from (one.sentence(fit.table) for one in fit.outliers)
    if fit.outliers:
        without = format_deg(angle_deg(fit.others.slope))
        yield f"Without that the angle would be {without} and the width at no depth {figures.length(fit.others.start_mm)}."
    tip, u_tip = fit.tip_mm
    if tip + fit.line.factor * u_tip < 0.0 and fit.table.deeper:
        yield f"With that zero the tip would be {figures.length(-tip)} less than nothing: touch it again."
    elif tip + fit.line.factor * u_tip < 0.0:
        short = figures.length(-tip / fit.line.slope)
        yield (
            f"The grooves are narrower than a sharp tip makes them: it went {short} or more less deep than the program says. "
            "The zero was too high; mend that first, or the job's widths will be too large."
        )


def bit_line(bit: Mapping[str, float], figures: Figures, spread: Spread | None = None) -> str:
    """Return a bit, by its keys, and how well it is known, as a line of a job's file."""
    lengths = [
        f"{key}: {figures.length(value, 4)}" for key, value in bit.items() if key not in ("angle", "flutes")
    ]
    keys = [f"angle: {bit['angle']:g} deg", *lengths, f"flutes: {bit['flutes']:g}"]
    if spread is not None:
        tip, together = figures.length(spread.tip_mm, 4), f"correlation: {spread.correlation:.4f}"
        keys.append(f"uncertainty: {{angle: {spread.angle_deg:.3f} deg, tip: {tip}, {together}}}")
    return f"bit: {{{', '.join(keys)}}}"


def fit_json(fit: Fit) -> dict[str, Any]:
    """Return a fit as plain values in millimetres and degrees; uncertainties are standard ones."""
    line, deeper = fit.line, fit.deeper_mm
    return {
        "angle_deg": fit.angle_deg,
        "angle_uncertainty_deg": fit.u_angle_deg,
        "angle_95_deg": list(fit.angle_ends_deg),
        "start_mm": line.start_mm,
        "start_uncertainty_mm": line.u_start_mm,
        "slope": line.slope,
        "slope_uncertainty": line.u_slope,
        "correlation": line.together,
        "deviation_mm": line.deviation_mm,
        "freedom": line.freedom if np.isfinite(line.freedom) else None,
        "factor_95": line.factor,
        "tip_mm": fit.tip_mm[0],
        "tip_uncertainty_mm": fit.tip_mm[1],
        "deeper_mm": None if deeper is None else deeper[0],
        "deeper_uncertainty_mm": None if deeper is None else deeper[1],
        "residuals_mm": [
            {"groove": int(g) + 1, "depth_mm": float(d), "width_mm": float(w), "residual_mm": float(off)}
            for g, d, w, off in zip(fit.groove, fit.depth_mm, fit.width_mm, fit.off_mm, strict=True)
        ],
        "outliers": [
            {"groove": one.groove + 1, "place": one.place + 1 or None, "width_mm": one.width_mm, "off_mm": one.off_mm}
            for one in fit.outliers
        ],
        "bit": fit.bit,
        "uncertainty": asdict(fit.spread),
    }  # fmt: skip


_WIDE, _HIGH, _LOW = 120.0, 58.0, 34.0  # of the two plots
_LEFT, _TOP, _GAP = 16.0, 12.0, 16.0


def fit_svg(fit: Fit, *, inline: bool = False) -> str:
    """Return the fit drawn: widths over depths with the line, and below how far each groove is off it, in its 95 % band.

    ``inline`` leaves size and style to a page.
    """
    line, figures = fit.line, fit.table.figures
    deep, wide = float(fit.depth_mm.max()) * 1.08, float(fit.width_mm.max()) * 1.08
    off = fit.off_mm
    most = 1.15 * max(float(np.abs(off).max()), line.factor * line.deviation_mm, 1e-6)
    named = {one.groove for one in fit.outliers}
    floor, zero = _TOP + _HIGH, _TOP + _HIGH + _GAP + _LOW / 2.0

    def x(depth: float) -> float:
        return _LEFT + _WIDE * depth / deep

    def y(width: float) -> float:
        return floor - _HIGH * width / wide

    def z(residual: float) -> float:
        return zero - _LOW / 2.0 * residual / most

    rims = [(depth, line.factor * line.at(depth)[1]) for depth in np.linspace(0.0, deep, 41).tolist()]
    band = [(x(depth), z(u)) for depth, u in rims] + [(x(depth), z(-u)) for depth, u in rims[::-1]]
    parts = [
        drawn('<path class="frame" d="M{} {}V{}H{}"/>', _LEFT, _TOP, floor, _LEFT + _WIDE),
        drawn('<path class="line" d="M{} {}L{} {}"/>', x(0.0), y(line.start_mm), x(deep), y(line.at(deep)[0])),
        f'<path class="band" d="M{"L".join(drawn("{} {}", *spot) for spot in band)}Z"/>',
        drawn('<path class="line" d="M{} {}H{}"/>', _LEFT, zero, _LEFT + _WIDE),
        text(_LEFT, _TOP - 5.0, _angle(fit), "head"),
        text(_LEFT + _WIDE, floor + 5.0, f"depth, to {figures.length(deep / 1.08)}", anchor="end"),
        text(_LEFT + 1.0, _TOP + 3.0, f"width, to {figures.length(wide / 1.08)}"),
        text(_LEFT + 1.0, zero - _LOW / 2.0 - 1.5, f"off the line, up to ± {figures.length(most / 1.15)}; "
             "band: where the line lies, 95 %"),
    ]  # fmt: skip
    beside = set[float]()
    for groove, depth, width, residual in zip(
        fit.groove.tolist(), fit.depth_mm, fit.width_mm, off, strict=True
    ):
        kind = "out" if groove in named else "dot"
        for at in (y(width), z(residual)):
            parts.append(drawn(f'<circle class="{kind}" cx="{{}}" cy="{{}}" r="1.1"/>', x(depth), at))
        number = f"{groove + 1}{' ✗' if groove in named else ''}"
        # of two grooves of one depth, one has its number on the left
        side, anchor = (-1.6, "end") if depth in beside else (1.6, "start")
        beside.add(depth)
        parts.append(text(x(depth) + side, z(residual) + 1.0, number, kind, anchor))
    style = (
        f"svg{{background:{LIGHT.paper}}}text{{font:3px {SANS};fill:{LIGHT.ink_soft}}}.head{{font-size:4.5px;fill:{LIGHT.ink}}}"
        f".frame,.line{{fill:none;stroke:{LIGHT.ink_soft};stroke-width:.3}}.line{{stroke:{LIGHT.indigo}}}"
        f".band{{fill:{WOOD}}}.dot{{fill:{LIGHT.indigo}}}.out{{fill:{LIGHT.finding}}}"
    )
    named_words = f"; outliers: groove {', '.join(str(g + 1) for g in sorted(named))}" if named else ""
    told_words = (
        f"Widths of {len(fit.groove)} grooves over their depths, with the line through them{named_words}."
    )
    box = (0.0, 0.0, _LEFT + _WIDE + 8.0, zero + _LOW / 2.0 + 6.0)
    return svg(box, f"Fit of {fit.table.title or 'a coupon'}", told_words, style, parts, inline=inline)
