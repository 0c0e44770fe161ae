"""A command as it is typed."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Sequence


def typed(words: Sequence[str]) -> str:
    """Return a command's words as one line for the shell that is usual here."""
    if sys.platform == "win32":
        import subprocess  # slow to import, and only Windows needs it

        return subprocess.list2cmdline(words)
    return shlex.join(words)
