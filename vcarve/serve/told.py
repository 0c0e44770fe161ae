"""How the page is told things: plain JSON values."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from vcarve.errors import Finding, grouped
from vcarve.layout.stages import Layout
from vcarve.quantity import format_rpm
from vcarve.view.sheet import verdict

Told = dict[str, Any]


def judged(findings: Sequence[Finding]) -> Told:
    """Return what findings come to: the ``kind`` of verdict, the ``verdict`` in words, and each sentence once."""
    groups = grouped(findings)
    kind, sentence = verdict(groups)
    told = [
        {
            "severity": group.first.severity,
            "code": group.first.code,
            "sentence": group.first.sentence,
            "places": group.count,
        }
        for group in groups
    ]
    return {"kind": kind, "verdict": sentence, "findings": told}


def used_of(layout: Layout) -> dict[str, str]:
    """Return what keys that can be left out come to, as they would be written."""
    job, pitch_mm, speeds = layout.job, layout.lines.pitch_mm, layout.job.speeds
    used = {
        "pattern.pitch": None if pitch_mm is None else job.figures.length(pitch_mm),
        "groove.step": job.figures.length(job.step_mm),
        "feed.cut": job.figures.feed(speeds.cut_mm_min, 1),
        "feed.plunge": job.figures.feed(speeds.plunge_mm_min, 1),
        "feed.spindle": format_rpm(speeds.spindle_rpm),
        "plan.hop": job.figures.length(job.hop_mm),
        "zero.xy": job.zero.model_dump()["xy"],
        "units": job.units or job.machine.units,
    }
    return {path: value for path, value in used.items() if value}
