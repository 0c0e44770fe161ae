"""``mizo speeds``: the feed, the spindle speed and the step of a job beside what is usual in its wood and on its machine."""

from __future__ import annotations

import json

import click

from vcarve.cli.options import job_argument, json_option, opened, say, set_option
from vcarve.cli.terminal import told
from vcarve.errors import EXIT_REFUSED, RefusedError, grouped, refuses


@click.command("speeds", epilog="Example: mizo speeds trivet.yaml --set feed.cut=400mm/min")
@job_argument
@set_option
@json_option
def speeds(job: str, sets: tuple[str, ...], json_: bool) -> None:
    """Hold a job's feed, spindle speed and step against what is usual in its wood and what its machine can do.

    All figures are starting points. JOB.yaml may be - for standard input.
    """
    from vcarve.groove.width import deepest_mm
    from vcarve.job.suitability import OF_SPEEDS, suitability
    from vcarve.view.speeds import SOURCES, speeds_json, speeds_rows

    loaded = opened(job, sets)
    findings = [one for one in suitability(loaded, deepest_mm(loaded.bit)) if one.code in OF_SPEEDS]
    if loaded.speeds.spindle_rpm < 1.0:  # no chip, and so nothing to hold against anything
        raise RefusedError(findings)
    facts = speeds_json(loaded)
    if json_:
        found = [{"code": one.code, "severity": one.severity, "sentence": one.sentence} for one in findings]
        say(json.dumps(facts | {"sources": SOURCES, "findings": found}))
    else:
        say(click.style(loaded.name, bold=True))
        for label, text in speeds_rows(loaded, facts):
            say(f"  {label:<9}{text}")
        for group in grouped(findings):
            say(f"  {told(group)}")
        for line in SOURCES:
            say(f"  {line}")
    if refuses(findings):
        raise click.exceptions.Exit(EXIT_REFUSED)
