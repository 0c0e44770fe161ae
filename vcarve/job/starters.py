"""Commented files to start from: of a job, a machine, a pattern, a panel."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Literal

from vcarve.errors import printable

Starter = Literal["job", "machine", "pattern", "panel"]  # what there is a file to start from for
_STARTERS = Path(__file__).parent / "data" / "new"


def starter_text(
    kind: Starter = "job",
    *,
    title: str = "tile",
    command: str = "mizo program tile.yaml -o tile.nc",
) -> str:
    """Return a commented file to start from, valid as it stands, every key explained.

    ``title`` is what it describes, ``command`` the one to type next.
    """
    plain = "".join(sign if sign.isprintable() else " " for sign in title)[:60]
    words = {
        "THIS-COMMAND": printable(command),
        "THIS-TITLE": json.dumps(plain, ensure_ascii=False),
        "THIS-KEY": json.dumps("-".join(re.findall(r"[a-z0-9]+", plain.lower())) or "own"),
    }
    text = (_STARTERS / f"{kind}.yaml").read_text(encoding="utf-8")
    return re.sub("|".join(words), lambda found: words[found[0]], text)
