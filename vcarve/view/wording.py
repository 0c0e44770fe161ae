"""How figures are written for people: always with their unit, thin spaces kept from breaking."""

from __future__ import annotations

import re

from vcarve.quantity import Figures, format_number

NBSP = "\u00a0"


def plain(value: float, decimals: int) -> str:
    """Return a number with at most ``decimals`` decimals, no trailing zeros, and a true minus sign."""
    return format_number(value, decimals).replace("-", "−")


def length(value_mm: float, figures: Figures) -> str:
    """Return length with its unit."""
    return unbroken(figures.length(value_mm))


def unbroken(text: str) -> str:
    """Return a figure with its unit as it is set on a page: on one line, with a true minus sign."""
    return text.replace(" ", NBSP).replace("-", "−")


def kept(words: str) -> str:
    """Return a sentence in which no line ends between a number and its unit, or between an axis and its place."""
    return re.sub(
        r"(?<=[0-9]) (?=(?:mm|in|s|min|h|rpm|%)(?:[^a-z]|$))|(?<=\b[XYZ]) (?=[-−]?[0-9])", NBSP, words
    )
