"""Where the command begins.

Ctrl-C, and whoever asks it to end, ends it with one word from here on, while Python still imports the rest.
"""

from __future__ import annotations

import os
import signal
import sys
from types import FrameType

SIGNALS = {signal.SIGINT: signal.default_int_handler, signal.SIGTERM: signal.SIG_DFL}  # as Python has them


class Stopped(SystemExit):
    """Ctrl-C.  Libraries that turn a KeyboardInterrupt into something of their own leave this alone."""


def _stop(number: int, frame: FrameType | None) -> None:
    raise Stopped(128 + number)  # what shells give a command that was stopped: 130 and 143


def main() -> None:
    """Run the command line."""
    try:
        for number, usual in SIGNALS.items():
            # Where it is another one, whoever started us wants no Ctrl-C.
            if signal.getsignal(number) is usual:
                signal.signal(number, _stop)
        from vcarve.cli.main import main as run

        run()
    except Stopped:
        if sys.stderr:  # closed, print would take standard output for it
            print("Stopped.", file=sys.stderr)
        raise
    finally:
        for number in SIGNALS:  # all is done, or undone; Python only tidies up
            signal.signal(number, signal.SIG_IGN)
        _leave(sys.exc_info()[1])


def _leave(end: BaseException | None) -> None:
    """End at once where threads are still at work: tidied away amid a library's code, one would take the exit code with it."""
    import threading

    # What is neither a number nor none is told by Python.
    code = end.code if isinstance(end, SystemExit) else end
    if threading.active_count() > 1 and isinstance(code, int | None):
        for stream in filter(None, (sys.stdout, sys.stderr)):
            stream.flush()
        os._exit(code or 0)


if __name__ == "__main__":
    main()
