"""The feed, the spindle speed and the step of a job beside what is usual in its wood and on its machine."""

from __future__ import annotations

import math
from typing import Any

from vcarve.groove.width import deepest_mm, width_mm
from vcarve.job.records import Job, chips_mm, is_fine
from vcarve.job.suitability import asked_depths_mm, at_once_mm
from vcarve.quantity import format_number, format_rpm
from vcarve.view.facts import Rows

# How a figure comes about, and where it is from.
SOURCES = (
    "feed = cutting edges x chip x spindle speed; surface speed = pi x width x spindle speed: every speeds and feeds table "
    "(Machinery's Handbook, from memory)",
    "chips, shares and steps of woods: common practice for small spindles, no single source; a machine's share: its file",
    "These are starting points: the makers' figures for bit and mill come first. Begin at the low end in an off-cut of the same "
    "board, and raise the feed by 10 to 20 % at a time; halve the step before you halve the feed.",
)


def speeds_json(job: Job) -> dict[str, Any]:
    """Return the figures of a job's speeds, in millimetres, mm/min, rpm and m/min.

    The bit cuts over the width of its groove: nothing at its point, and fastest at the surface, where the walls are widest apart.
    """
    wood, bit, machine, speeds = job.piece.wood, job.bit, job.machine, job.speeds
    low, high = chips_mm(wood, bit)
    turns = bit.flutes * speeds.spindle_rpm
    width = width_mm(bit, min(max(asked_depths_mm(job)), deepest_mm(bit)))
    return {
        "spindle_rpm": speeds.spindle_rpm,
        "spindle_range_rpm": [machine.spindle.min_rpm, machine.spindle.max_rpm],
        "cut_mm_min": speeds.cut_mm_min,
        "cut_usual_mm_min": [low * turns, high * turns],
        "cut_largest_mm_min": machine.largest_feed_mm_min,
        "chip_mm": speeds.cut_mm_min / turns,
        "chip_usual_mm": [low, high],
        "fine_tip": is_fine(bit),
        "plunge_mm_min": speeds.plunge_mm_min,
        "plunge_usual_mm_min": wood.plunge_share * speeds.cut_mm_min,
        "at_once_mm": at_once_mm(job),
        "step_usual_mm": job.usual_step_mm,
        "machine_step_share": machine.step_share,
        "width_mm": width,
        "surface_m_min": math.pi * width * speeds.spindle_rpm / 1000.0,
    }


def speeds_rows(job: Job, facts: dict[str, Any]) -> Rows:
    """Return the figures in words."""
    figures, wood, machine, bit = job.figures, job.piece.wood, job.machine, job.bit
    (low, high), (least, most) = facts["chip_usual_mm"], facts["cut_usual_mm_min"]
    half = ", half of it for so fine a tip" if facts["fine_tip"] else ""
    least_rpm, most_rpm = facts["spindle_range_rpm"]
    share = f"{format_number(machine.step_share * 100.0)} % of the wood's {figures.length(wood.step_mm)}"
    weak = f", {share}: the machine is not stiff" if machine.step_share < 1.0 else ""
    length, feed, name = figures.length, figures.feed, machine.name
    plunge_share = f"{format_number(wood.plunge_share * 100.0)} % of the feed"
    surface = f"{format_number(facts['surface_m_min'], 1)} m/min"
    if figures.unit == "in":
        surface = f"{format_number(facts['surface_m_min'] / 0.3048, 0)} ft/min"
    rows = {
        "spindle": f"{format_rpm(facts['spindle_rpm'])}; {name} has {format_number(least_rpm)} to {format_rpm(most_rpm)}",
        "chip": f"{figures.small(facts['chip_mm'])} for each of {bit.flutes} cutting edges a turn; "
        f"usual in {wood.title} is {figures.number(low)} to {length(high)}{half}",
        "feed": f"{feed(facts['cut_mm_min'])}; usual at this spindle speed {figures.number(least, 0)} to {feed(most, 0)}, "
        f"{name} cuts at {feed(facts['cut_largest_mm_min'])} at most",
        "plunge": f"{feed(facts['plunge_mm_min'])}; usual is {plunge_share}, {feed(facts['plunge_usual_mm_min'])}",
        "step": f"{length(facts['at_once_mm'])} at once; usual is {length(facts['step_usual_mm'])} or less{weak}",
        "surface": f"{surface} where the bit cuts widest, {length(facts['width_mm'])} across; nothing at its point",
    }
    return list(rows.items())


def speeds_told(job: Job) -> Rows:
    """Return the figures in words, and where they are from; nothing where the spindle stands still."""
    if job.speeds.spindle_rpm < 1.0:
        return []
    return [*speeds_rows(job, speeds_json(job)), *(("from", line) for line in SOURCES)]
