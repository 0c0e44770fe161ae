"""What the look's colours have to stand out from, and by how much: shared by the tests of pictures and pages."""

from __future__ import annotations

from vcarve.view.look import WOOD_INK, WOOD_PAPER, Theme, rgb

# WCAG 2.x, success criterion 1.4.3 (AA): text needs 4.5, large text and graphics (1.4.11) need 3.
TEXT_CONTRAST = 4.5
SHAPE_CONTRAST = 3.0


def luminance(colour: str) -> float:
    """Return the relative luminance of a colour, 0 to 1 (WCAG 2.x, definition of relative luminance)."""
    linear = [
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in (v / 255.0 for v in rgb(colour))
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours, 1 to 21 (WCAG 2.x, definition of contrast ratio)."""
    dim, bright = sorted((luminance(one), luminance(other)))
    return (bright + 0.05) / (dim + 0.05)


def text_pairs(theme: Theme) -> tuple[tuple[str, str], ...]:
    """Return every pair of text and ground that the pictures and pages of a theme use."""
    return (
        *((text, ground) for text in (theme.ink, theme.ink_soft) for ground in (theme.paper, theme.raised)),
        (theme.indigo, theme.paper),
        (theme.indigo, theme.raised),
        (theme.on_indigo, theme.indigo),
        (theme.finding, theme.paper),
        (theme.finding, theme.raised),
        (theme.on_finding, theme.finding),
        (WOOD_INK, WOOD_PAPER),
    )


def shape_pairs(theme: Theme) -> tuple[tuple[str, str], ...]:
    """Return every pair of a line or shape that carries meaning and the ground it lies on."""
    return (
        *(
            (line, ground)
            for line in (theme.ground_line, theme.leaf_line)
            for ground in (theme.paper, theme.raised)
        ),
        (theme.air, theme.paper),
        (theme.finding, theme.paper),
    )
