"""What there is to say of a job's proportions: a pitch far from what its pattern is drawn for, grooves too narrow to see."""

from __future__ import annotations

import numpy as np

from vcarve.errors import Finding
from vcarve.groove.whole_cells import cells_of
from vcarve.job.records import Job
from vcarve.layout import Layout
from vcarve.proposals import cut_off, whole_areas_mm2
from vcarve.quantity import counted

FEW_CELLS = 4  # with fewer whole ones nobody sees how a pattern goes on; our choice
HAIRLINE_MM = 0.1  # a groove that is narrower is lost in the grain; our choice


def proportion_findings(job: Job, layout: Layout) -> tuple[Finding, ...]:
    """Return the cautions.  Of a pitch that is small the land that it leaves speaks."""
    said = (_pitch_sentence(job, layout), _width_sentence(job, layout))
    codes = ("pitch-unusual", "groove-hairline")
    return tuple(
        Finding(code=code, severity="caution", sentence=sentence)
        for code, sentence in zip(codes, said, strict=True)
        if sentence
    )


def _pitch_sentence(job: Job, layout: Layout) -> str:
    pattern, pitch = layout.pattern, layout.pitch_mm
    if pattern is None or pitch is None:
        return ""
    length, (low, high) = job.figures.length, pattern.pitch_mm
    usual = f"{pattern.key} usually has {length(low)} to {length(high)}"
    whole = _whole_cells(layout)
    if whole is not None and whole < FEW_CELLS:
        shown = f"only {counted(whole, 'whole cell')} on the piece" if whole else "no whole cell on the piece"
        return f"A pitch of {length(pitch)} leaves {shown}: little of the pattern is seen; {usual}."
    if pitch > high:
        return f"A pitch of {length(pitch)} is more than usual; {usual}."
    return ""


def _whole_cells(layout: Layout) -> int | None:
    """Return how many cells nothing clips, where they are few; ``None`` where they are not, or lines close no cell."""
    network = layout.network
    if np.count_nonzero(network.cell_class >= 0) >= FEW_CELLS:
        return None
    assert layout.pattern is not None
    assert layout.pitch_mm is not None
    sample = cells_of(layout.pattern)
    if sample is None:
        return None
    # Cells that end at the field's edge are whole as well, so their areas decide.
    return network.cells - cut_off(network, whole_areas_mm2(sample, layout.pitch_mm))


def _width_sentence(job: Job, layout: Layout) -> str:
    widths = 2.0 * layout.grooves.half_width_mm[layout.network.cut]
    narrowest = float(widths.min(initial=np.inf))
    if narrowest >= HAIRLINE_MM:
        return ""
    return (
        f"The narrowest groove is {job.figures.small(narrowest, 3)} wide at the surface and will hardly be seen. "
        "Cut deeper, or take a wider angle."
    )
