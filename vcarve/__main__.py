"""``python -m vcarve``: the command where no ``mizo`` is on the path."""

from vcarve.cli.start import main

main()
