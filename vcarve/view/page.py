"""The dry-run page: one HTML file that holds the piece, the program and the player, and asks for nothing else.

The page's own policy forbids every request and every script or style other than its own, by their digests.
"""

from __future__ import annotations

import base64
import hashlib
import re
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
    style = palette_css() + _part("page.css")
    script = '"use strict";\n(() => {\n' + "\n".join(_part(name) for name in _SCRIPTS) + "\n})();\n"
    groups = grouped(run.findings)
    kind, sentence = verdict(groups)
    slots = {
        "policy": escape(_policy(style, script), quote=True),
        "title": escape(title(run)),
        "unit": run.figures.unit,
        "tab": escape(("Must not be cut: " if kind == "refuse" else "") + title(run)),
        "kind": kind,
        "verdict": sentence,
        "findings": findings_html(groups),
        "foundsign": '<span class="found">finding</span>' if groups else "",
        "column": column_html(run),
        "sheet": sheet_html(run),
        "style": style,
        "data": embed(payload(run)),
        "script": script,
    }
    return _SLOT.sub(lambda match: slots[match.group(1)], _part("template.html"))


def _policy(style: str, script: str) -> str:
    return (
        f"default-src 'none'; script-src '{digest(script)}'; style-src '{digest(style)}'; "
        "img-src data:; base-uri 'none'; form-action 'none'"
    )


def digest(text: str) -> str:
    """Return the source expression by which a page's own style or script is allowed, and nothing else."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")


def _part(name: str) -> str:
    return (files("vcarve.view") / "parts" / name).read_text(encoding="utf-8")
