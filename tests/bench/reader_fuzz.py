"""A hundred thousand damaged programs through the reader in all dialects: sound moves or faults, never an exception.

Usage: reader_fuzz.py [HOW_MANY [SEED]]
"""

from __future__ import annotations

import random
import sys
import time
import traceback
from pathlib import Path
from typing import get_args

sys.path.insert(0, str(Path(__file__).resolve().parent))
sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "property"))

from test_reader_against_interpreter import SLIPS, random_program
from test_reader_laws import PROGRAM, sound

from vcarve.program.grammar import DialectName
from vcarve.program.reader import read_program

PIECES = [slip.encode() for slip in SLIPS if len(slip) < 40]


def damage(rng: random.Random, data: bytearray) -> bytes:
    for _ in range(rng.randint(1, 10)):
        at = rng.randrange(len(data) + 1)
        kind = rng.randrange(7)
        if kind == 0 and at < len(data):
            data[at] = rng.randrange(256)
        elif kind == 1 and at < len(data):
            data[at] ^= 1 << rng.randrange(8)
        elif kind == 2:
            del data[at : at + rng.randint(1, 30)]
        elif kind == 3:
            data[at:at] = rng.choice(PIECES)
        elif kind == 4:
            data[at:at] = b"\n" + rng.choice(PIECES) + b"\n"
        elif kind == 5:
            data[at:at] = data[at : at + rng.randint(1, 60)]
        else:
            data[at:at] = bytes(
                rng.choice(b"0123456789.-+GMXYZIJKRFSPL#[]()%;/ \n") for _ in range(rng.randint(1, 12))
            )
    return bytes(data)


def main() -> int:
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    rng = random.Random(int(sys.argv[2]) if len(sys.argv) > 2 else 1)
    names: list[DialectName] = sorted(get_args(DialectName))
    clean = failed = 0
    began = time.perf_counter()
    for index in range(many):
        base = PROGRAM if index % 2 else random_program(rng.randrange(10_000))
        data = damage(rng, bytearray(base.encode()))
        try:
            reading = read_program(data, dialect=names[index % 3], strict=False)
            sound(reading)
            clean += not reading.faults
        except Exception:
            failed += 1
            if failed <= 5:
                print(repr(data))
                traceback.print_exc()
    seconds = time.perf_counter() - began
    print(f"{many} damaged programs: {failed} failures, {clean} still clean, {seconds:.0f} s")
    return 1 if failed else 0


if __name__ == "__main__":
    raise SystemExit(main())
