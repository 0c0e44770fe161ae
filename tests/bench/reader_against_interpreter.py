"""A few thousand random programs, and every slip after every preamble, through our reader and the RS-274 interpreter.

Usage: reader_against_interpreter.py [FIRST_SEED [HOW_MANY]]
"""

from __future__ import annotations

import importlib.util
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from types import ModuleType
from typing import Any

TESTS = Path(__file__).resolve().parent.parent


def load(path: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location(path.stem, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[path.stem] = module
    spec.loader.exec_module(module)
    return module


def main() -> int:
    first = int(sys.argv[1]) if len(sys.argv) > 1 else 0
    many = int(sys.argv[2]) if len(sys.argv) > 2 else 3000
    canonical = load(TESTS / "conftest.py")
    law = load(TESTS / "property" / "test_reader_against_interpreter.py")
    binary = shutil.which("rs274")
    if binary is None:
        print("the RS-274 interpreter is not installed", file=sys.stderr)
        return 2
    differing = accepted = 0
    began = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        program = Path(folder) / "program.ngc"

        def run(text: str) -> Any:
            program.write_bytes(text.encode("utf-8"))
            done = subprocess.run(
                [binary, "-b", "-g", program.name], cwd=folder, capture_output=True, timeout=60, check=False
            )
            output = done.stdout.decode("utf-8", "replace") + done.stderr.decode("utf-8", "replace")
            return canonical.parse_canonical(output, done.returncode == 0)

        for preamble in law.PREAMBLES:
            for slip, difference in law.slip_differences(run, preamble).items():
                differing += 1
                print(f"{preamble}, {slip[:40]!r}: {difference}")
        for seed in range(first, first + many):
            text = law.random_program(seed)
            result = run(text)
            accepted += result.accepted
            difference = law.differences(text, result)
            if difference is not None:
                differing += 1
                print(f"seed {seed}: {difference}")
    seconds = time.perf_counter() - began
    slips = len(law.SLIPS) * len(law.PREAMBLES)
    print(f"{many} programs ({accepted} accepted), {slips} slips: {differing} differences, {seconds:.0f} s")
    return 1 if differing else 0


if __name__ == "__main__":
    raise SystemExit(main())
