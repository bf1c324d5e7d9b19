"""Let a coverage-guided fuzzer feed the readers of files: what reached new code is spoiled further.

    pip install atheris
    python -m tests.benchmarks.guided TARGET [--seconds N]

Atheris (https://pypi.org/project/atheris/, on LLVM's libFuzzer) is not among the packages of the tests:
it is large and has no build for every system. Targets are those of `tests/fuzz/targets.py`. It ends at
the first fault, and says and keeps the input.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import sys
import tempfile
from pathlib import Path

TARGETS = ("rig", "csv", "midi", "wav", "lines")


def main() -> None:
    import atheris

    parser = argparse.ArgumentParser()
    parser.add_argument("target", choices=TARGETS)
    parser.add_argument("--seconds", type=int, default=300)
    args = parser.parse_args()
    with atheris.instrument_imports(include=["rounds", "mido", "tomllib"]):
        from tests.fuzz.targets import Targets

        folder = Path(tempfile.mkdtemp(dir="/dev/shm" if os.path.isdir("/dev/shm") else None))
        targets = Targets(folder / "files")
    seeds, run = targets.all[args.target]
    corpus = folder / "corpus"
    corpus.mkdir(parents=True)
    for number, data in enumerate(seeds):
        (corpus / str(number)).write_bytes(data)
        run(data, random.Random(number))  # what is imported late is imported now
    options = [f"-max_total_time={args.seconds}", "-timeout=10", "-rss_limit_mb=2000", "-max_len=20000"]
    atheris.Setup([sys.argv[0], str(corpus), *options], lambda data: run(data, random.Random(1)) and None)
    try:
        atheris.Fuzz()
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
