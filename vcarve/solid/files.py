"""Solids as files: binary STL, which knows neither units nor colours, and 3MF, which knows both.

3MF is written by its core specification: a ZIP of a model in XML, in millimetres, with a base material for each colour.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from xml.sax.saxutils import escape, quoteattr

import numpy as np
import numpy.typing as npt

from vcarve.solid.model import Part

STL_FACET = np.dtype([("normal", "<f4", 3), ("corner", "<f4", (3, 3)), ("attribute", "<u2")])
STL_HEADER = 80
LONG_AGO = (1980, 1, 1, 0, 0, 0)  # of files in a ZIP, so that the same solid gives the same bytes

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
TYPES = """<?xml version="1.0" encoding="UTF-8"?>
<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">
<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>
<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>
</Types>
"""
RELATIONS = """<?xml version="1.0" encoding="UTF-8"?>
<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">
<Relationship Id="model" Target="/3D/3dmodel.model" \
Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/>
</Relationships>
"""


def solids_file(parts: Sequence[Part], ending: str, title: str) -> bytes:
    """Return parts put together as a file with this ending, ``.stl`` or ``.3mf``; the same parts give the same bytes."""
    return _stl(parts, title) if ending == ".stl" else _3mf(parts, title)


def _stl(parts: Sequence[Part], title: str) -> bytes:
    facets = []
    for part in parts:
        corners = _apart(part.corner_mm.astype(np.float32))
        facet = np.zeros(len(part.solid.triangle), STL_FACET)
        facet["corner"] = corners[part.solid.triangle]
        a, b, c = np.moveaxis(facet["corner"].astype(np.float64), 1, 0)
        normal = np.cross(b - a, c - a)
        facet["normal"] = normal / np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-30)
        facets.append(facet)
    every = np.concatenate(facets)
    # A header that begins with "solid" is that of a text.
    header = f"binary STL in mm: {title}".encode("ascii", "replace")[:STL_HEADER].ljust(STL_HEADER)
    return header + np.uint32(len(every)).tobytes() + every.tobytes()


def _apart(corner: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Return corners no two of which are one in single precision: who reads STL knows them by their place alone."""
    least = np.spacing(np.abs(corner).max())
    while True:
        first = np.unique(corner, axis=0, return_index=True)[1]
        again = np.setdiff1d(np.arange(len(corner)), first)
        if not len(again):
            return corner
        corner[again, 0] += least


def _3mf(parts: Sequence[Part], title: str) -> bytes:
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<model unit="millimeter" xml:lang="en-US" xmlns="{CORE}">',
        f'<metadata name="Title">{escape(title)}</metadata>',
        '<metadata name="Application">Mizo</metadata>',
        "<resources>",
        '<basematerials id="1">',
        *(
            f"<base name={quoteattr(part.name)} displaycolor={quoteattr(part.colour.upper())}/>"
            for part in parts
        ),
        "</basematerials>",
    ]
    for number, part in enumerate(parts):
        name = quoteattr(part.name)
        lines += [
            f'<object id="{number + 2}" type="model" name={name} pid="1" pindex="{number}"><mesh><vertices>'
        ]
        lines += [
            f'<vertex x="{x:.6f}" y="{y:.6f}" z="{z:.6f}"/>' for x, y, z in part.solid.corner_mm.tolist()
        ]
        lines += ["</vertices><triangles>"]
        lines += [f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in part.solid.triangle.tolist()]
        lines += ["</triangles></mesh></object>"]
    lines += ["</resources>", "<build>"]
    for number, part in enumerate(parts):
        matrix = " ".join(f"{value:.9g}" for value in part.matrix.ravel().tolist())
        lines += [f'<item objectid="{number + 2}" transform="{matrix}"/>']
    lines += ["</build>", "</model>", ""]
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as package:
        for path, text in (
            ("[Content_Types].xml", TYPES),
            ("_rels/.rels", RELATIONS),
            ("3D/3dmodel.model", "\n".join(lines)),
        ):
            package.writestr(zipfile.ZipInfo(path, LONG_AGO), text, zipfile.ZIP_DEFLATED)
    return out.getvalue()
