"""A progress bar on standard error, for what takes over a second and only on a terminal."""

from __future__ import annotations

import sys
import time
from types import TracebackType

import click

PATIENCE_S = 1.0
WIDTH = 28


class Bar:
    """Call it with a stage and a share between 0 and 1; it draws itself once a second has passed."""

    def __init__(self) -> None:
        self.begun = time.monotonic()
        self.drawn = False
        self.wanted = sys.stderr.isatty()

    def __call__(self, stage: str, share: float) -> None:
        """Show how far the work is."""
        if not self.wanted or time.monotonic() - self.begun < PATIENCE_S:
            return
        full = round(WIDTH * min(max(share, 0.0), 1.0))
        bar = "█" * full + "░" * (WIDTH - full)
        click.echo(f"\r\033[K{bar} {share:4.0%}  {stage}", err=True, nl=False)
        self.drawn = True

    def __enter__(self) -> Bar:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self.drawn:
            click.echo("\r\033[K", err=True, nl=False)
            self.drawn = False
