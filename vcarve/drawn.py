"""What the other functions return, drawn: a pattern, a layout, a program just made, a dry run."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vcarve.errors import InputError, Problem

if TYPE_CHECKING:
    from vcarve.layout.stages import Layout
    from vcarve.pattern.model import Pattern
    from vcarve.run import DryRun, PanelMade


def draw(what: Pattern | Layout | DryRun | PanelMade, ending: str = ".svg") -> bytes:
    """Return a picture or a page as the bytes of a file with this ending.

    A pattern becomes its lines (``.svg``, ``.png``), a layout a drawing true to scale (``.svg``, ``.dxf``), a program just made
    its plan (``.svg``), a panel its picture (``.svg``) and its sheet (``.html``), and every dry run a page that plays it
    (``.html``) and, with its job, the carved piece (``.png``).
    Raises ``InputError`` for another ending.

    >>> layout = vcarve.lay_out(vcarve.load_job("tile.yaml"))
    >>> Path("tile.dxf").write_bytes(vcarve.draw(layout, ".dxf")) > 1000
    True
    >>> vcarve.draw(layout, ".png")
    Traceback (most recent call last):
    vcarve.errors.InputError: '.png': a layout is drawn as .svg or .dxf
    """
    drawn = _drawn(what, ending)
    return drawn.encode() if isinstance(drawn, str) else drawn


def panel_files(made: PanelMade) -> dict[str, str | bytes]:
    """Return everything that is written for a panel, by the names of the files: programs, picture and sheet."""
    programs = {f"{name}.nc": one.text for name, one, _ in made.programs}
    programs |= {f"{name}-cut-out.nc": one.cut_out.text for name, one, _ in made.programs if one.cut_out}
    return {**programs, "panel.svg": draw(made, ".svg"), "sheet.html": draw(made, ".html")}


def _drawn(what: Pattern | Layout | DryRun | PanelMade, ending: str) -> str | bytes:
    from vcarve.pattern.model import Pattern

    if isinstance(what, Pattern):
        from vcarve.view.pattern import pattern_picture

        return pattern_picture(what, _one_of(ending, "a pattern", ".svg", ".png"))
    from vcarve.layout.stages import Layout

    if isinstance(what, Layout):
        from vcarve.view.lines import drawn_page, dxf_text, svg_text

        written = dxf_text if _one_of(ending, "a layout", ".svg", ".dxf") == ".dxf" else svg_text
        size = (what.job.piece.width_mm, what.job.piece.height_mm)
        return written(drawn_page(what.network, what.grooves, what.features, piece_mm=size))
    from vcarve.run import Made, PanelMade

    if isinstance(what, PanelMade):
        from vcarve.view.panel import panel_sheet, panel_svg

        return (
            panel_svg(what.laid)
            if _one_of(ending, "a panel", ".svg", ".html") == ".svg"
            else panel_sheet(what)
        )
    if isinstance(what, Made) and ending == ".svg":
        from vcarve.view.drawing import plan_svg

        return plan_svg(what)
    kinds = (".svg",) * isinstance(what, Made) + (".html",) + (".png",) * (what.layout is not None)
    if _one_of(ending, "this program", *kinds) == ".html":
        from vcarve.view.page import page_html

        return page_html(what)
    from vcarve.view.picture import picture_png

    if what.surface is None:
        from vcarve.proofing import carve_piece

        what = carve_piece(what)
    assert what.layout is not None
    assert what.surface is not None
    job = what.layout.job
    return picture_png(
        what.surface,
        job.piece.wood.tint,
        rings=what.layout.rings,
        mark="Must not be cut" if what.refused else "",
    )


def _one_of(ending: str, what: str, *endings: str) -> str:
    if ending not in endings:
        raise InputError(Problem(value=ending, want=f"{what} is drawn as {' or '.join(endings)}"))
    return ending
