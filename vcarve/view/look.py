"""One look for pictures and pages: washi paper and indigo dye by day, sumi ink and lifted indigo by night.

All colours are here.  Wood keeps its own tint in both themes, and so do the cuts in it.  Nothing is told by colour
alone: whatever a colour says is also said by a shape, a number or a word.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass

SANS = "'Gill Sans', 'Gill Sans Nova', Optima, Candara, 'Noto Sans', 'Liberation Sans', system-ui, sans-serif"
SERIF = (
    "'Iowan Old Style', 'Palatino Linotype', Palatino, 'Book Antiqua', Georgia, 'Liberation Serif', 'Noto Serif CJK JP', "
    "serif"
)
KANJI = (
    "'Hiragino Mincho ProN', 'Yu Mincho', 'Noto Serif CJK JP', 'Noto Serif JP', 'Source Han Serif', 'Noto Sans CJK JP', "
    "'Hiragino Sans', 'Yu Gothic', serif"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Theme:
    """The colours of one theme, each ``#rrggbb``; by default those by day."""

    paper: str = "#f5f0e5"  # the ground
    raised: str = "#fbf8f1"  # cards and badges
    ink: str = "#211d18"  # text and outlines
    ink_soft: str = "#655d52"  # lesser text, dimensions
    rule: str = "#d8cfbe"  # hairlines that carry no meaning
    ground_line: str = "#1f2f5f"  # ground lines of a pattern
    leaf_line: str = "#41579a"  # leaf lines of a pattern
    indigo: str = "#2b3f73"  # what is chosen or active
    on_indigo: str = "#fbf8f1"  # text on indigo
    air: str = "#857e73"  # moves in the air, off the wood
    finding: str = "#ad3f17"
    on_finding: str = "#fffaf2"


LIGHT = Theme()
DARK = Theme(
    paper="#171614",
    raised="#201f1c",
    ink="#efe9dc",
    ink_soft="#b3ab9c",
    rule="#3b3833",
    ground_line="#efe9dc",
    leaf_line="#a9bbec",
    indigo="#9db1e8",
    on_indigo="#171614",
    air="#958f84",
    finding="#f2905f",
    on_finding="#24130a",
)

PRINTED = "#ffffff"  # paper in a printer

# On wood, by day and by night.
WOOD = "#dcc7a1"  # where the wood is not known
WOOD_INK = "#211d18"
WOOD_PAPER = "#fffaf0"
WOOD_AIR = "#4f4a43"
GRAIN = "#3a2410"
# A groove's walls from full shade to full light, its bottom, and its floor before light falls on it.
SHADE = "#16204a"
LIT = "#8398d3"
VALLEY = "#0f1738"

# Towards the light (X right, Y back, Z up; length 1), and towards a second, softer one: with one alone a groove that runs
# along it shows no side.  Both are off the directions that lattices run in.
SUN = (-0.382, 0.662, 0.645)
SECOND = (0.738, 0.198, 0.645)
SECOND_SHARE = 0.35  # of the first one's strength

# Layers of a drawing for other programs, thin lines on whatever ground those give it, and the nearest of DXF's numbered colours.
DRAWN = {
    "ground": ("#26456e", 5),
    "leaf": ("#5b7fa6", 4),
    "frame": ("#1f1d1a", 7),
    "outline": ("#8a857b", 8),
    "groove": ("#a8451f", 1),
    "land": ("#6f6a5f", 9),
}


def layer_colours(layer: str) -> tuple[str, int]:
    """Return the colours of a layer for SVG and for DXF; those of a drawing look like ground lines."""
    return DRAWN.get(layer, DRAWN["ground"])


def themed(rules: Callable[[Theme], str]) -> str:
    """Return the rules of the light theme, and those of the dark one where it is preferred."""
    return f"{rules(LIGHT)}@media(prefers-color-scheme:dark){{{rules(DARK)}}}"


def rgb(colour: str) -> tuple[int, int, int]:
    """Return red, green and blue of ``#rrggbb``, 0 to 255."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def mix(one: str, other: str, share: float) -> str:
    """Return the colour ``share`` of the way from one to the other."""
    mixed = (round(a + (b - a) * share) for a, b in zip(rgb(one), rgb(other), strict=True))
    return "#" + "".join(f"{min(max(value, 0), 255):02x}" for value in mixed)


def indigo(share: float) -> str:
    """Return the indigo of a cut, from the shallowest (0) to the deepest (1): darker is deeper."""
    return mix("#6f84c4", "#1c2859", min(max(share, 0.0), 1.0))


def wall(light: float) -> str:
    """Return the colour of a groove's wall that gets this share of the light."""
    return mix(SHADE, LIT, min(max(light, 0.0), 1.0))


def colours_of(theme: Theme) -> dict[str, str]:
    """Return a theme's colours by the names that style sheets have for them."""
    named = {name.replace("_", "-"): colour for name, colour in asdict(theme).items()}
    return {**named, "to-come": mix(theme.indigo, theme.paper, 0.66)}


def declared(values: dict[str, str]) -> str:
    """Return the declarations of custom properties."""
    return " ".join(f"--{name}: {value};" for name, value in values.items())


def palette_css(*, switched: bool = True) -> str:
    """Return the rules that set every colour and letter of a page: by day, by night, and on paper.

    Whether it is night the page says itself if it is ``switched``, otherwise whoever looks at it prefers it.
    """
    day = colours_of(LIGHT) | {
        "wood-ink": WOOD_INK,
        "wood-paper": WOOD_PAPER,
        "wood-air": WOOD_AIR,
        "wood-air-pale": DARK.ink_soft,  # on dark woods
        "wood-finding": LIGHT.finding,
        "wood-cut": mix(WOOD, LIGHT.paper, 0.2),
        "wood-line": LIGHT.leaf_line,
        "shade": SHADE,
        "lit": LIT,
        "valley": VALLEY,
        "cut-shallow": indigo(0.0),
        "cut-deep": indigo(1.0),
        "sans": SANS,
        "serif": SERIF,
        "kanji": KANJI,
        "scheme": "light",
    }
    night = colours_of(DARK) | {"wood-cut": mix(WOOD, DARK.paper, 0.68), "scheme": "dark"}
    white = colours_of(LIGHT) | {
        "paper": PRINTED,
        "raised": PRINTED,
        "ink-soft": mix(LIGHT.ink_soft, LIGHT.ink, 0.4),
        "wood-cut": mix(WOOD, PRINTED, 0.75),  # ink is dear
        "scheme": "light",
    }
    by_night = (
        ':root[data-theme="dark"] {{ {} }}'
        if switched
        else "@media(prefers-color-scheme:dark){{ :root {{ {} }} }}"
    )
    return (
        f":root {{ {declared(day)} }}\n{by_night.format(declared(night))}\n"
        f"@media print {{ :root, :root[data-theme=dark] {{ {declared(white)} }} }}\n"
    )
