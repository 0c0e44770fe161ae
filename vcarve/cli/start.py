"""Where the command begins.  Ctrl-C ends it with one word from here on, while Python still imports the rest."""

from __future__ import annotations

import signal
import sys
from types import FrameType

EXIT_STOPPED = 130  # what shells give a command that was interrupted


class Stopped(SystemExit):
    """Ctrl-C.  Libraries that turn a KeyboardInterrupt into something of their own leave this alone."""


def _stop(number: int, frame: FrameType | None) -> None:
    raise Stopped(EXIT_STOPPED)


def main() -> None:
    """Run the command line."""
    try:
        # Where it is another one, whoever started us wants no Ctrl-C.
        if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
            signal.signal(signal.SIGINT, _stop)
        from vcarve.cli.main import main as run

        run()
    except Stopped:
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        print("Stopped.", file=sys.stderr)
        raise
    finally:
        # All is done, or undone; Python only tidies up.
        signal.signal(signal.SIGINT, signal.SIG_IGN)


if __name__ == "__main__":
    main()
