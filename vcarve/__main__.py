"""``python -m vcarve``: the command where no ``mizo`` is on the path."""

from vcarve.cli.start import main

if __name__ == "__main__":  # a process that this one starts imports it as well
    main()
