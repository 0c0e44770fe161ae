"""``mizo width``: the bench question, answered without a job.

Starts fast on purpose: nothing but click and ``math`` is loaded unless a bit is asked for by name.
"""

from __future__ import annotations

import json
import math
from functools import partial
from typing import Any

import click

from vcarve.cli.options import json_option, quantity
from vcarve.cli.terminal import echo
from vcarve.errors import InputError, Problem
from vcarve.groove import width as widths
from vcarve.groove.width import HEIGHT_ERROR_MM, Cone, Spread, VBit
from vcarve.quantity import INCH, MM, NUMBER, angle_deg, format_deg, in_inches, length_mm
from vcarve.quantity import read as read_quantity


def _spread(written: str | None) -> Spread | None:
    """Read how far angle and tip may be off, and how they go together."""
    if written is None:
        return None
    parts = [part.strip() for part in written.split(",")]
    read = partial(quantity, "--uncertainty")
    angle, tip, together = (*parts, "0", "0")[:3]
    found = Spread(
        angle_deg=read(angle_deg, angle) or 0.0,
        tip_mm=read(length_mm, tip) or 0.0,
        correlation=read(partial(read_quantity, NUMBER), together) or 0.0,
    )
    if len(parts) > 3 or min(found.angle_deg, found.tip_mm) < 0.0 or abs(found.correlation) > 1.0:
        want = "an angle, a length and a correlation are wanted, such as '0.6 deg, 0.03 mm, -0.9', as 'mizo fit' tells them"
        raise InputError(Problem(key="--uncertainty", value=written, want=want))
    return found


def _shape(name: str | None, spread: Spread | None, **given: float | None) -> VBit:
    """Put the bit together from its name and the fields that are given beside it."""
    base: Cone = VBit(angle_deg=90.0)
    if name is not None:
        from vcarve.job.bench import load_bit  # only now are the heavy libraries loaded

        base = load_bit(name)
    elif given["angle_deg"] is None:
        raise InputError(
            "Which bit? Give --angle, such as --angle 90, or --bit with a name from 'mizo bits'."
        )
    fields = {key: getattr(base, key) if value is None else value for key, value in given.items()}
    for one, other in (("tip_mm", "tip_radius_mm"), ("tip_radius_mm", "tip_mm")):
        if given[one] is not None and given[other] is None:
            fields[other] = 0.0
    return VBit(**fields, uncertainty=spread or base.uncertainty)


def _facts(bit: VBit, depth: float | None, width: float | None) -> dict[str, Any]:
    """Work out everything the command says, as plain values; ``None`` where a bit has no end."""
    deepest = widths.deepest_mm(bit)
    found: dict[str, Any] = {
        "angle_deg": bit.angle_deg,
        "diameter_mm": None if math.isinf(bit.diameter_mm) else bit.diameter_mm,
        "tip_mm": bit.tip_mm,
        "tip_radius_mm": bit.tip_radius_mm,
        "deepest_mm": None if math.isinf(deepest) else round(deepest, 6),
    }
    if width is not None:
        depth = widths.depth_mm(bit, width)
    if depth is not None:
        slope = widths.sensitivity(bit, depth)
        found |= {
            "depth_mm": round(depth, 6),
            "width_mm": round(widths.width_mm(bit, depth), 6),
            "width_off_mm": round(widths.uncertainty_mm(bit, depth), 6),
            "width_per_height_mm": None if math.isinf(slope) else round(slope * HEIGHT_ERROR_MM, 6),
            "width_per_degree_mm": round(widths.angle_sensitivity(bit, depth), 6),
            "beyond_cone": depth > deepest + 1e-9,
        }
    found["table"] = [
        {"depth_mm": round(down, 6), "width_mm": round(across, 6)} for down, across in widths.table(bit)
    ]
    return found


def _text(bit: VBit, facts: dict[str, Any], asked_width: bool, inches: bool) -> str:
    """Set the facts as lines for the bench, in inches with the millimetres beside them where inches were asked in."""

    def length(value_mm: float, *, trim: bool = True) -> str:
        mm = MM.length(value_mm, trim=trim)
        return f"{INCH.length(value_mm, trim=trim)} ({mm})" if inches else mm

    across = "" if facts["diameter_mm"] is None else f"{length(bit.diameter_mm)} across, "
    lines = [f"{format_deg(bit.angle_deg)} bit, {across}{widths.tip_words(bit, length)}"]
    if "depth_mm" in facts:
        depth, width = (f"{what} {length(facts[f'{what}_mm'], trim=False)}" for what in ("depth", "width"))
        if off := facts["width_off_mm"]:
            inch, mm = (one.known(facts["width_mm"], off) for one in (INCH, MM))
            width = f"width {inch} ({mm})" if inches else f"width {mm}"
        lines.append(f"{width}  needs  {depth}" if asked_width else f"{depth}  cuts  {width}")
        height, degree = facts["width_per_height_mm"], facts["width_per_degree_mm"]
        if height is not None:
            lines.append(
                f"{length(HEIGHT_ERROR_MM)} in height changes the width by {length(height, trim=False)}"
            )
        lines.append(f"1° in the bit's angle changes it by {length(degree, trim=False)}")
    if facts["deepest_mm"] is None:
        lines.append("deepest cut: give --diameter to know where the cone ends")
    else:
        lines.append(f"deepest cut {length(facts['deepest_mm'], trim=False)}, then as wide as the bit")
    if facts.get("beyond_cone"):
        lines.append("caution  this is deeper than the cone; the walls above it are upright.")
    figures = (INCH, MM) if inches else (MM,)
    lines += ["", "   ".join(f"{f'depth {one.unit}':>8}   {f'width {one.unit}':>8}" for one in figures)]
    for row in facts["table"]:
        depth, width = row["depth_mm"], row["width_mm"]
        lines.append(
            "   ".join(f"{one.number(depth):>8}   {one.number(width, trim=False):>8}" for one in figures)
        )
    return "\n".join(lines)


@click.command("width", epilog="Example: mizo width --angle 90 --depth 2")
@click.option("--angle", metavar="DEG", help="Full included angle of the bit.")
@click.option("--depth", metavar="LENGTH", help="Depth below the surface: answers with the width.")
@click.option("--width", metavar="LENGTH", help="Width at the surface: answers with the depth.")
@click.option("--tip", metavar="LENGTH", help="Width of the flat at the tip.  [default: 0 mm]")
@click.option("--tip-radius", metavar="LENGTH", help="Radius of a rounded tip, instead of a flat.")
@click.option("--diameter", metavar="LENGTH", help="Cutting diameter, where the cone ends.")
@click.option(
    "--uncertainty",
    metavar="DEG, LENGTH, R",
    help="How far angle and tip may be off, and their correlation, as 'mizo fit' tells them.",
)
@click.option("--bit", "name", metavar="NAME", help="A bit from 'mizo bits'; options given beside it win.")
@json_option
def width(
    angle: str | None,
    depth: str | None,
    width: str | None,
    tip: str | None,
    tip_radius: str | None,
    diameter: str | None,
    uncertainty: str | None,
    name: str | None,
    json_: bool,
) -> None:
    """How wide does a bit cut at a depth, and how deep must it go for a width?

    Lengths may carry units (2 mm, 1/16 in, 3/32"); a plain number is in millimetres. Without --depth or
    --width only the bit's table is printed. What is asked in inches is answered in inches and millimetres.
    """
    if depth is not None and width is not None:
        raise InputError("Give --depth or --width, not both: the one is worked out from the other.")
    bit = _shape(
        name,
        _spread(uncertainty),
        angle_deg=quantity("--angle", angle_deg, angle),
        diameter_mm=quantity("--diameter", length_mm, diameter),
        tip_mm=quantity("--tip", length_mm, tip),
        tip_radius_mm=quantity("--tip-radius", length_mm, tip_radius),
    )
    facts = _facts(bit, quantity("--depth", length_mm, depth), quantity("--width", length_mm, width))
    inches = any(text is not None and in_inches(text) for text in (depth, width))
    echo(json.dumps(facts) if json_ else _text(bit, facts, width is not None, inches))
