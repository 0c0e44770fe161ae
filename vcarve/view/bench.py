"""The bench page's three files as text: what stands on it, how it looks, and its script.

The page is the same for every job: all it shows it asks the server for.  It shares the look, the stage and the player of the
dry-run page, which its script calls by ``show`` and ``paintStill``.
"""

from __future__ import annotations

import re
from functools import cache

from vcarve.view.look import palette_css
from vcarve.view.page import part, player_js

_SCRIPTS = (
    "bench-state.js",
    "bench-ask.js",
    "bench-fields.js",
    "bench-form.js",
    "bench-stage.js",
    "bench-take.js",
    "bench-returned.js",
    "bench.js",
)
_TIME = re.compile(r'<footer class="time"[^>]*>(.*?)</footer>', re.DOTALL)


@cache
def bench_html() -> str:
    """Return the page; it takes ``bench.css`` and ``bench.js`` from beside it, and holds no script or style of its own."""
    time = _TIME.search(part("page.html"))
    assert time, "the dry-run page has a time line"
    sign = '<span class="found" id="found-sign" hidden>finding</span>'
    return part("bench.html").replace(
        "<!--slot:time-->", time.group(1).replace("<!--slot:foundsign-->", sign)
    )


@cache
def bench_css() -> str:
    """Return the page's style sheet: every colour and letter, what it shares with the dry-run page, and its own."""
    return palette_css() + part("page.css") + part("bench.css")


@cache
def bench_js() -> str:
    """Return the page's script: the player, and what tries, shows and takes away."""
    bench = "\n".join(map(part, _SCRIPTS))
    return f'"use strict";\n(() => {{\n{player_js()}\n{bench}\n}})();\n'
