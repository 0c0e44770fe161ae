"""How figures are written for people: always with their unit, thin spaces kept from breaking."""

from __future__ import annotations

from vcarve.quantity import format_duration

NBSP = "\u00a0"


def plain(value: float, decimals: int) -> str:
    """Number with at most ``decimals`` decimals, no trailing zeros, and a true minus sign."""
    text = f"{value:.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text.replace("-", "−")


def mm(value: float, decimals: int = 2) -> str:
    """Length in millimetres, from 10 m on in metres."""
    if abs(value) >= 10_000:
        return f"{plain(value / 1000.0, 2)}{NBSP}m"
    return f"{plain(value, decimals)}{NBSP}mm"


def duration(seconds: float) -> str:
    """Time as ``42 s``, ``5 min 12 s`` or ``1 h 05 min``."""
    whole = round(seconds)
    return f"{whole}{NBSP}s" if whole < 60 else format_duration(seconds).replace(" ", NBSP)


def share(value: float) -> str:
    """Share as percent with one decimal."""
    return f"{plain(100.0 * value, 1)}{NBSP}%"
