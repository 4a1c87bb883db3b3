"""The hostile world in full: mutants of all that is read, the real command, and kills.

    python -m tests.hostile                   10,000 scenes, 2,000 of each other kind
    python -m tests.hostile --part 0.1        a tenth of that
    python -m tests.hostile --only plates     one kind
    python -m tests.hostile --faults FOLDER   keep the mutants that found a fault

Mutants are numbered; the same number is the same mutant as long as scenes/ stays the same.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from rich.console import Console
from rich.table import Table

from tests.mutated_scenes import SceneMutator, furnish
from tests.mutations import ROOT, Count, Verdict, patrol

KINDS = {
    "scenes": 10_000,
    "drawings": 1000,
    "plates": 2000,
    "tables": 2000,
    "displacements": 2000,
    "measurements": 2000,
    "pictures": 2000,
    "studies": 2000,
    "study_results": 2000,
    "photographs": 2000,
    "materials": 2000,
    "curves": 2000,
    "messages": 2000,
    "sockets": 2000,
    "arguments": 2000,
    "command": 100,
}
KILLS = 50
PATIENCE_S = 180.0  # for one command on a busy machine


def commands(mutants: int) -> Count:
    """`wavesim expose` itself on mutated scenes: status 0, 1 or 2, and one line of complaint."""
    count, mutator = Count(), SceneMutator()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        furnish(folder)
        for seed in range(mutants):
            text = mutator.text(1_000_000 + seed)
            (folder / "mutant.toml").write_text(text, encoding="utf-8", newline="")
            count.add(_commanded(seed, folder))
    return count


def _commanded(seed: int, folder: Path) -> Verdict:
    begin = time.perf_counter()
    args = ("expose", "mutant.toml", "-o", "plate.h5", "--png", "plate.png")
    for path in folder.glob("plate.*"):
        path.unlink()
    try:
        done = subprocess.run(
            [sys.executable, "-m", "wavesim", *args],
            cwd=folder,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
            capture_output=True,
            timeout=PATIENCE_S,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return Verdict(seed, "FAULT", "hangs", PATIENCE_S)
    seconds = round(time.perf_counter() - begin, 3)
    errors = done.stderr.decode(errors="replace")
    right = errors == "" if done.returncode == 0 else errors.count("\n") == 1
    left = sorted(path.name for path in folder.glob("plate.*"))
    right &= left == (["plate.h5", "plate.png"] if done.returncode == 0 else [])
    if done.returncode not in (0, 2) or not right or "Traceback" in errors:
        return Verdict(seed, "FAULT", f"status {done.returncode}, {left}: {errors[-300:]}", seconds)
    return Verdict(seed, "result" if done.returncode == 0 else "status 2", errors, seconds)


def killed(kills: int) -> str:
    """What the test of kills says, at so many moments."""
    tests = "tests/test_cli_hostile.py"
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", tests, "-k", "killed_at_any_moment"],
        cwd=ROOT,
        env={**os.environ, "WAVESIM_KILLS": str(kills)},
        capture_output=True,
        text=True,
        check=False,
    )
    return "old file or new file whole" if done.returncode == 0 else done.stdout[-400:]


def row(what: str, count: Count) -> tuple[str, ...]:
    """One line of the table."""
    refused = Counter(
        {k: n for k, n in count.kinds.items() if k not in ("result", "slow", "FAULT")}
    )
    slow = count.slowest
    return (
        what,
        f"{count.mutants:,}",
        f"{count.kinds['result']:,}",
        ", ".join(f"{n:,} {kind}" for kind, n in refused.most_common()),
        f"{count.kinds['slow']:,}",
        f"{len(count.faults):,}",
        "" if slow is None else f"{slow.seconds:.1f} s (seed {slow.seed})",
        f"{count.peak_bytes / 1e9:.2f} GB" if count.peak_bytes else "",
        f"{count.seconds:,.0f} s",
    )


def main() -> None:
    """Run, and print the table."""
    parser = argparse.ArgumentParser(description="The hostile world in full.")
    parser.add_argument("--part", type=float, default=1.0, help="of the full counts")
    parser.add_argument("--only", choices=KINDS, action="append", help="one kind; may be repeated")
    parser.add_argument("--first", type=int, default=0, help="number of the first mutant")
    parser.add_argument("--faults", help="folder for the mutants that found a fault")
    given = parser.parse_args()
    if given.faults:
        os.environ["WAVESIM_FAULTS"] = given.faults
    table = Table()
    for name in (
        "mutants of",
        "sent",
        "results",
        "refused",
        "slow",
        "faults",
        "slowest",
        "peak memory",
        "in all",
    ):
        table.add_column(name)
    notable = []
    for what in given.only or KINDS:
        number = max(1, round(KINDS[what] * given.part))
        seeds = range(given.first, given.first + number)
        count = commands(number) if what == "command" else patrol(what, seeds)
        table.add_row(*row(what, count))
        notable += [f"{what} {v.seed}: {v.kind}: {v.text}" for v in count.faults + count.slow]
    console = Console(width=160)
    console.print(table)
    if not given.only:
        kills = max(1, round(KILLS * given.part))
        console.print(
            f"killed {kills} times while exposing over an existing plate: {killed(kills)}"
        )
    for line in notable:
        console.print(line, markup=False)


if __name__ == "__main__":
    main()
