"""A font of the tests' own, so that no installed one decides how a page is set."""

from __future__ import annotations

import io
import os
from pathlib import Path


def own_font(advance: int) -> bytes:
    """Return a font of plain boxes, every sign as wide as ``advance`` thousandths of its size: no installed font decides."""
    from fontTools.fontBuilder import FontBuilder
    from fontTools.pens.ttGlyphPen import TTGlyphPen

    pen = TTGlyphPen(None)
    pen.moveTo((40, 0))
    for corner in ((40, 500), (advance - 40, 500), (advance - 40, 0)):
        pen.lineTo(corner)
    pen.closePath()
    build = FontBuilder(1000, isTTF=True)
    build.setupGlyphOrder([".notdef", "sign"])
    build.setupCharacterMap(dict.fromkeys(range(0x20, 0x3000), "sign"))
    build.setupGlyf({".notdef": TTGlyphPen(None).glyph(), "sign": pen.glyph()})
    build.setupHorizontalMetrics({".notdef": (advance, 0), "sign": (advance, 40)})
    build.setupHorizontalHeader(ascent=900, descent=-250)
    build.setupNameTable({"familyName": "Own", "styleName": "Regular"})
    build.setupOS2(sxHeight=500, sTypoAscender=900, sTypoDescender=-250)
    build.setupPost()
    stream = io.BytesIO()
    build.save(stream)
    return stream.getvalue()


def with_a_font(folder: Path) -> dict[str, str | float | bool]:
    """Return the environment with one font more than are installed: the browser cannot start without any."""
    (folder / "own.ttf").write_bytes(own_font(520))
    (folder / "fonts.conf").write_text(
        f"<fontconfig><dir>{folder}</dir><cachedir>{folder}/cache</cachedir>"
        f'<include ignore_missing="yes">{os.environ.get("FONTCONFIG_FILE", "/etc/fonts/fonts.conf")}</include></fontconfig>'
    )
    return {**os.environ, "FONTCONFIG_FILE": str(folder / "fonts.conf")}
