"""A command as it is typed."""

from __future__ import annotations

import shlex
import subprocess
import sys
from collections.abc import Sequence


def typed(words: Sequence[str]) -> str:
    """Return a command's words as one line for the shell that is usual here."""
    return subprocess.list2cmdline(words) if sys.platform == "win32" else shlex.join(words)
