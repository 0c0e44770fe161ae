"""The look's colours and letters as custom properties for the page's style sheet."""

from __future__ import annotations

from dataclasses import fields

from vcarve.view import look


def palette_css() -> str:
    """Return the rules that set every colour of the page: by day, by night, and on paper."""
    day = {**colours_of(look.LIGHT), **_wood(), "sans": look.SANS, "serif": look.SERIF, "scheme": "light"}
    night = {
        **colours_of(look.DARK),
        "wood-cut": look.mix(look.WOOD, look.DARK.paper, 0.68),
        "scheme": "dark",
    }
    white = {
        **colours_of(look.LIGHT),
        "paper": look.PRINTED,
        "raised": look.PRINTED,
        "ink-soft": look.mix(look.LIGHT.ink_soft, look.LIGHT.ink, 0.4),
        "wood-cut": look.mix(look.WOOD, look.PRINTED, 0.75),  # ink is dear
        "scheme": "light",
    }
    return "\n".join(
        (
            _rule(":root", day),
            _rule(':root[data-theme="dark"]', night),
            f"@media print {{ {_rule(':root, :root[data-theme=dark]', white)} }}",
            "",
        )
    )


def colours_of(theme: look.Theme) -> dict[str, str]:
    """Return a theme's colours by the names that style sheets have for them."""
    named = {field.name.replace("_", "-"): getattr(theme, field.name) for field in fields(theme)}
    return {**named, "to-come": look.mix(theme.indigo, theme.paper, 0.66)}


def _wood() -> dict[str, str]:
    return {
        "wood-ink": look.WOOD_INK,
        "wood-paper": look.WOOD_PAPER,
        "wood-air": look.WOOD_AIR,
        "wood-air-pale": look.DARK.ink_soft,  # on dark woods
        "wood-finding": look.LIGHT.finding,
        "wood-cut": look.mix(look.WOOD, look.LIGHT.paper, 0.2),
        "wood-line": look.LIGHT.leaf_line,
        "shade": look.SHADE,
        "lit": look.LIT,
        "valley": look.VALLEY,
    }


def _rule(where: str, values: dict[str, str]) -> str:
    return f"{where} {{ {declared(values)} }}"


def declared(values: dict[str, str]) -> str:
    """Return the declarations of custom properties."""
    return " ".join(f"--{name}: {value};" for name, value in values.items())
