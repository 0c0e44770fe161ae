"""The dry-run page: one HTML file that holds the piece, the program and the player, and asks for nothing else.

The policy of every page forbids every request and every script or style other than the page's own, by their digests.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterable
from html import escape
from importlib.resources import files

from vcarve.errors import grouped
from vcarve.run import DryRun
from vcarve.view.encode import embed, payload
from vcarve.view.look import palette_css
from vcarve.view.sheet import column_html, findings_html, sheet_html, title, verdict

_SCRIPTS = ("data.js", "carve.js", "drawing.js", "player.js")
_SLOT = re.compile(r"<!--slot:([a-z]+)-->")


def page_html(run: DryRun) -> str:
    """Return the whole page as text (UTF-8, about 40 bytes per move plus the program's text); same run, same bytes."""
    groups = grouped(run.findings)
    kind, sentence = verdict(groups)
    slots = {
        "title": escape(title(run)),
        "unit": run.figures.unit,
        "tab": escape(("Must not be cut: " if kind == "refuse" else "") + title(run)),
        "kind": kind,
        "verdict": sentence,
        "findings": findings_html(groups),
        "foundsign": '<span class="found">finding</span>' if groups else "",
        "column": column_html(run),
        "sheet": sheet_html(run),
        "data": embed(payload(run)),
    }
    return filled("page", _SCRIPTS, slots, palette_css())


def filled(name: str, scripts: Iterable[str], slots: dict[str, str], palette: str) -> str:
    """Return the page of this name, its slots filled, with its style and script and a policy that lets in nothing else."""
    style = palette + _part(f"{name}.css")
    script = '"use strict";\n(() => {\n' + "\n".join(map(_part, scripts)) + "\n})();\n"
    policy = (
        f"default-src 'none'; script-src '{_digest(script)}'; style-src '{_digest(style)}'; "
        "img-src data:; base-uri 'none'; form-action 'none'"
    )
    slots = {**slots, "policy": policy, "style": style, "script": script}
    return _SLOT.sub(lambda match: slots[match.group(1)], _part(f"{name}.html"))


def _digest(text: str) -> str:
    """Return the source expression by which a page's own style or script is allowed, and nothing else."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")


def _part(name: str) -> str:
    return (files("vcarve.view") / "parts" / name).read_text(encoding="utf-8")
