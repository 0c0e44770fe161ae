"""Laws of a cut-out, whatever the outline, the end mill and its tabs."""

from __future__ import annotations

import math
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from small_job import job_from
from vcarve.job.fields import TabSize
from vcarve.job.records import Job
from vcarve.job.sections import CutOut
from vcarve.layout.stages import lay_out
from vcarve.pipeline import cut_out_program
from vcarve.program.moves import Motion

LAWS = settings(deadline=None, derandomize=True, max_examples=25)
OUTLINES = st.one_of(
    st.just("shape: rectangle"),
    st.floats(0.5, 14.0).map(lambda radius: f"shape: rounded, radius: {radius:.3f}"),
    st.just("shape: ellipse"),
)


@st.composite
def jobs(draw: st.DrawFn) -> Job:
    """Draw a job whose piece is cut out; where its tabs do not fit it has none."""
    wide, high = draw(st.floats(30.0, 60.0)), draw(st.floats(30.0, 60.0))
    thick, turn = draw(st.floats(1.0, 5.0)), draw(st.floats(-30.0, 30.0))
    text = f"""\
piece: {{width: {wide:.3f}, height: {high:.3f}, thickness: {thick:.3f}, wood: cherry-black, outline: {{{draw(OUTLINES)}}}}}
pattern: {{name: asanoha, pitch: 15, margin: 3}}
groove: {{depth: 0.4}}
bit: v60-3.175
machine: small-desktop
zero: {{z: {draw(st.sampled_from(["top", "bed"]))}, turn: {turn:.3f}}}
cut-out:
  bit: {draw(st.sampled_from(["em-1.5", "em-2", "em-3.175"]))}
  tabs: {draw(st.integers(0, 5))}
  tab: {draw(st.floats(0.5, 8.0)):.3f} x {draw(st.floats(0.1, 0.9)):.3f} mm
  through: {draw(st.floats(0.0, 0.5)):.3f}
  ramp: {draw(st.floats(4.0, 45.0)):.2f} deg
  lead-in: {draw(st.sampled_from(["true", "false"]))}
  direction: {draw(st.sampled_from(["climb", "conventional"]))}
"""
    machine: dict[str, Any] = {"units": "inch", "decimals": 4} if draw(st.booleans()) else {}
    return job_from(text, **machine)


@LAWS
@given(jobs())
def test_the_dry_run_finds_nothing_of_a_cut_out(job: Job) -> None:
    """What can be made is right: nothing is cut into, all is cut through but the tabs, none of it straight down."""
    made = cut_out_program(lay_out(job))

    assert made is None or made.findings == ()


@LAWS
@given(jobs())
def test_turns_are_as_few_as_step_and_slope_allow(job: Job) -> None:
    """With a turn less than it has, a way without lead-in or tabs would take more than the step or fall more steeply."""
    cut_out = job.cut_out
    assert isinstance(cut_out, CutOut)
    plain = cut_out.model_copy(update={"tabs": 0, "lead_in": False, "tab": TabSize(1.0, 0.1)})
    made = cut_out_program(lay_out(job.model_copy(update={"cut_out": plain})))
    assert made is not None
    moves = made.reading.moves
    fed = moves.length_mm[(moves.motion != Motion.RAPID) & (moves.end("Z") != moves.start("Z"))]
    deep = job.piece.thickness_mm + plain.through_mm
    last = moves.length_mm[moves.motion != Motion.RAPID].sum() - fed.sum()
    turns = round(made.plan.cut_mm / last) - 1

    assert turns >= 1
    assert turns == 1 or deep / (turns - 1) > min(
        job.cut_out_step_mm, last * math.tan(math.radians(plain.ramp_deg))
    )
