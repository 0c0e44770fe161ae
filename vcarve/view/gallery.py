"""All patterns on one page that needs no network: pictures, names and figures, filtered by family and lattice."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from html import escape

import numpy as np

from vcarve.pattern.inspect import inspect
from vcarve.pattern.model import Pattern
from vcarve.plane.arcs import curves, directions, lengths
from vcarve.quantity import MM
from vcarve.view import look
from vcarve.view.page import digest
from vcarve.view.pattern import patch, pattern_svg
from vcarve.view.wording import NBSP, length, plain

MM2_PER_DM2 = 10_000.0
COMPARED_MM = 20.0  # the pitch at which the lengths to cut are given, so that patterns can be compared


def vertex_figures(pattern: Pattern) -> tuple[tuple[float, ...], int]:
    """Return the different angles (degrees) between neighbouring lines at a vertex, and the odd vertices per unit cell."""
    unit = pattern.unit_network
    chord = (unit.uv[unit.head] + unit.step - unit.uv[unit.tail]) @ pattern.cell.basis
    lines = curves(np.zeros_like(chord), chord, unit.bulge)
    out = np.concatenate([directions(lines, 0.0), -directions(lines, 1.0)])
    at = np.concatenate([unit.tail, unit.head])
    # Rounded, so that 359.9999 and 0 are one direction and angles come out even.
    way = np.round(np.degrees(np.arctan2(out[:, 1], out[:, 0])), 4) % 360.0
    order = np.lexsort((way, at))
    way, spokes = way[order], np.bincount(at)
    last = np.cumsum(spokes) - 1
    onward = np.roll(way, -1)
    onward[last] = way[last - spokes + 1] + 360.0
    gaps, beside = onward - way, np.repeat(spokes, spokes)
    # One line has no neighbour, and one that only passes through makes no angle.
    told = gaps[(beside > 2) | ((beside == 2) & (np.abs(gaps - 180.0) > 0.01))]
    return tuple(np.unique(np.round(told, 2)).tolist()), int(np.count_nonzero(spokes % 2))


def cut_length(pattern: Pattern) -> float:
    """Return the length of lines per area, both in the pattern's unit: over a pitch it is the length per area of the piece."""
    return float(lengths(pattern.curves).sum()) / pattern.cell.area


def pattern_facts(pattern: Pattern) -> list[tuple[str, str]]:
    """Return what its file does not say of a pattern as (label, text) lines."""
    angles, odd = vertex_figures(pattern)
    return [
        ("angles", angle_words(angles)),
        ("odd", f"{odd} vertices per unit cell where an odd number of lines meet"),
        ("cut", f"{cut_length(pattern):.4g} x 10 000 / pitch mm of lines per square decimetre"),
        *(("caution", finding.sentence) for finding in inspect(pattern)),
    ]


def _style() -> str:
    """Return the page's style sheet."""
    day, night = (look.declared(look.colours_of(theme)) for theme in (look.LIGHT, look.DARK))
    return f"""
:root{{color-scheme:light dark;{day}}}
@media(prefers-color-scheme:dark){{:root{{{night}}}}}
*{{box-sizing:border-box}}
body{{margin:0;padding:2.2rem clamp(1rem,4vw,3.5rem) 4rem;background:var(--paper);color:var(--ink);
 font:1rem/1.5 {look.SANS};font-variant-numeric:tabular-nums lining-nums}}
h1,h2{{font-family:{look.SERIF};font-weight:500;margin:0;line-height:1.2}}
h1{{font-size:2rem}}
.lede{{color:var(--ink-soft);max-width:44rem;margin:.4rem 0 1.6rem}}
fieldset{{border:0;margin:0 0 .55rem;padding:0 0 0 4.5rem;position:relative;display:flex;flex-wrap:wrap;gap:.4rem}}
legend{{position:absolute;left:0;top:.25rem;padding:0;color:var(--ink-soft)}}
button{{font:inherit;font-size:.92rem;color:var(--ink);background:var(--raised);border:1px solid var(--ink-soft);
 border-radius:1rem;padding:.2rem .8rem;min-height:1.9rem;cursor:pointer}}
button[aria-pressed=true]{{background:var(--indigo);border-color:var(--indigo);color:var(--on-indigo);font-weight:600}}
button[aria-pressed=true]::before{{content:"\\2713\\00a0"}}
button:focus-visible{{outline:3px solid var(--indigo);outline-offset:2px}}
#count{{margin:1rem 0 1.4rem;padding-bottom:.8rem;border-bottom:1px solid var(--rule);color:var(--ink-soft)}}
ul{{list-style:none;margin:0;padding:0;display:grid;gap:2.4rem 2rem;
 grid-template-columns:repeat(auto-fill,minmax(min(15.5rem,100%),1fr))}}
li{{display:flex;flex-direction:column}}
li[hidden]{{display:none}}
svg{{display:block;width:100%;height:auto;margin-bottom:.9rem}}
svg .paper{{fill:var(--raised)}}
svg .ground,svg .leaf,svg .rim{{fill:none;stroke-linecap:round;stroke-linejoin:round}}
svg .ground{{stroke:var(--ground-line)}}svg .leaf{{stroke:var(--leaf-line)}}svg .rim{{stroke:var(--rule)}}
h2{{font-size:1.25rem;display:flex;justify-content:space-between;gap:.8rem;align-items:baseline}}
h2 [lang=ja]{{font-family:{look.KANJI};font-size:1.05rem;color:var(--ink-soft);white-space:nowrap}}
.english{{margin:.1rem 0 .5rem}}
code{{font:inherit;font-size:.88rem;color:var(--ink-soft)}}
dl{{margin:0;display:grid;grid-template-columns:auto 1fr;gap:.1rem .9rem;font-size:.92rem}}
dt{{color:var(--ink-soft)}}dd{{margin:0;text-align:right}}
li p.note{{margin:.6rem 0 0;font-size:.9rem;color:var(--ink-soft)}}
@page{{margin:11mm}}
@media print{{:root{{{day}--paper:{look.PRINTED};--raised:{look.PRINTED}}}code{{font-size:8pt}}
body{{padding:0;font-size:8pt;line-height:1.3}}fieldset{{display:none}}
ul{{grid-template-columns:repeat(4,minmax(0,1fr));gap:6mm 5mm}}li{{break-inside:avoid}}h2{{display:block;font-size:10pt}}
svg{{margin-bottom:2mm}}dt,dd{{font-size:7.5pt}}li p.note{{font-size:7pt}}}}
"""


# Buttons narrow the list down; without scripts every pattern is shown.  The choice is kept in the address.
_SCRIPT = """
"use strict";
const cards=[...document.querySelectorAll("li[data-family]")],buttons=[...document.querySelectorAll("button[data-of]")];
const count=document.getElementById("count"),wanted={family:"",lattice:""};
function show(){
  let shown=0;
  for(const card of cards){
    const fits=Object.keys(wanted).every(of=>!wanted[of]||card.dataset[of]===wanted[of]);
    card.hidden=!fits;shown+=fits;
  }
  for(const b of buttons)b.setAttribute("aria-pressed",String(wanted[b.dataset.of]===b.value));
  count.textContent=shown===cards.length?`${shown} patterns`
    :`${shown} of ${cards.length} patterns`+(shown?"":": no pattern has both; choose all in one of the rows");
}
function choose(of,value){
  wanted[of]=value;
  const kept=new URLSearchParams(Object.entries(wanted).filter(([,v])=>v));
  try{history.replaceState(null,"","#"+kept)}catch{}
  show();
}
for(const b of buttons)b.addEventListener("click",()=>choose(b.dataset.of,b.value));
for(const [of,value] of new URLSearchParams(location.hash.slice(1)))
  if(buttons.some(b=>b.dataset.of===of&&b.value===value))wanted[of]=value;
show();
"""


def _buttons(of: str, values: Iterable[str]) -> str:
    """Return one row of buttons, the first for all."""
    parts = [f'<button type="button" data-of="{of}" value="" aria-pressed="true">all</button>']
    parts += [
        f'<button type="button" data-of="{of}" value="{escape(v)}" aria-pressed="false">{escape(v)}</button>'
        for v in values
    ]
    return f"<fieldset><legend>{of}</legend>{''.join(parts)}</fieldset>"


def _card(shown: Pattern) -> str:
    """Return one pattern's card."""
    angles, odd = vertex_figures(shown)
    cut = length(math.floor(cut_length(shown) / COMPARED_MM * MM2_PER_DM2 + 0.5), MM)
    choice = f" Our choice: {escape(shown.choice)}" if shown.choice else ""
    title = f"{shown.name}, {shown.english}"
    return (
        f'<li data-family="{escape(shown.family)}" data-lattice="{escape(shown.lattice.kind)}">'
        f"{pattern_svg(patch(shown)[0], title=title, description=shown.note, inline=True)}"
        f'<h2>{escape(shown.name)} <span lang="ja">{escape(shown.kanji)}</span></h2>'
        f'<p class="english">{escape(shown.english)}<br><code>{escape(shown.key)}</code></p>'
        f"<dl><dt>angles</dt><dd>{angle_words(angles)}</dd><dt>ends of passes per repeat</dt><dd>{odd}</dd>"
        f"<dt>to cut per dm²</dt><dd>{cut}</dd>"
        f"<dt>usual pitch</dt><dd>{MM.number(shown.pitch_mm[0])}{NBSP}to{NBSP}{length(shown.pitch_mm[1], MM)}</dd>"
        f"<dt>lattice</dt><dd>{escape(shown.lattice.kind)}</dd></dl>"
        f'<p class="note">{escape(shown.note)}{choice}</p></li>'
    )


def angle_words(angles_deg: Sequence[float]) -> str:
    """Return angles in words.  Straight on and the outer side of a corner say nothing new; lines at 0° touch."""
    words = [f"{plain(angle, 1)}°" for angle in angles_deg if 0.05 <= angle < 179.95]
    if any(angle < 0.05 for angle in angles_deg):
        words.append("touching")
    return ", ".join(words) or "none"


def gallery_html(patterns: Sequence[Pattern]) -> str:
    """Return the page as HTML text: one file, no network, light and dark; the same patterns give the same text."""
    style = _style()
    policy = f"default-src 'none'; style-src '{digest(style)}'; script-src '{digest(_SCRIPT)}'"
    families = sorted({one.family for one in patterns})
    lattices = sorted({one.lattice.kind for one in patterns})
    cards = "\n".join(map(_card, patterns))
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>Patterns</title>\n<style>{style}</style>\n</head>\n<body>\n<main>\n<h1>Patterns</h1>\n"
        '<p class="lede">Ground lines, the base grid, are drawn heavier than the leaf lines set into it. Angles are '
        "those between neighbouring lines. Where an odd number of lines meet, a pass of the bit has to begin or end. "
        f"Lengths to cut are those of a square decimetre at a pitch of {length(COMPARED_MM, MM)}.</p>\n"
        f"{_buttons('family', families)}\n{_buttons('lattice', lattices)}\n"
        f'<p id="count" role="status">{len(patterns)} patterns</p>\n<ul>\n{cards}\n</ul>\n</main>\n'
        f"<script>{_SCRIPT}</script>\n</body>\n</html>\n"
    )
