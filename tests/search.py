"""Looks for what property tests find once in thousands of draws: `python -m tests.search --minutes 60 [FILES]`.

Round after round of all property tests, each with a seed of its own, until the time is over. What fails is shown with
the seed that makes it fail again. A finding is mended with a test that needs no luck.
"""

from __future__ import annotations

import argparse
import random
import subprocess
import sys
import time
from collections.abc import Sequence

COLLECTED_NOTHING = 5


def one_round(seed: int, files: Sequence[str]) -> tuple[bool, str]:
    """Whether all of them passed, and what pytest said. Raises ValueError where there is no property test."""
    command = [sys.executable, "-m", "pytest", "-q", "-n", "auto", "-m", "hypothesis"]
    done = subprocess.run(
        [*command, f"--hypothesis-seed={seed}", "-p", "no:cacheprovider", *files],
        text=True, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=False,
    )  # fmt: skip
    if done.returncode == COLLECTED_NOTHING:
        raise ValueError(f"no property test in {' '.join(files) or 'this folder'}")
    return done.returncode == 0, done.stdout


def search(minutes: float, files: Sequence[str], first_seed: int) -> list[int]:
    """Seeds of the rounds that failed. At least one round is played."""
    end_s = time.monotonic() + 60.0 * minutes
    seeds, failed = random.Random(first_seed), []
    for number in range(1, sys.maxsize):
        seed = seeds.randrange(2**32)
        passed, said = one_round(seed, files)
        if not passed:
            failed.append(seed)
            sys.stdout.write(f"{said}\nFailed with --hypothesis-seed={seed}\n")
        sys.stderr.write(f"round {number}: {len(failed)} failed\n")
        if time.monotonic() >= end_s:
            break
    return failed


def main() -> int:
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--minutes", type=float, default=60.0, help="the last round is played to its end")
    asked.add_argument("--seed", type=int, default=None, help="of the seeds, to search the same way again")
    asked.add_argument("files", nargs="*", help="all of them when none is named")
    given = asked.parse_args()
    first_seed = random.SystemRandom().randrange(2**32) if given.seed is None else given.seed
    try:
        failed = search(given.minutes, given.files, first_seed)
    except ValueError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
