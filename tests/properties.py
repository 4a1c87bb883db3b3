"""Every law over so many random scenes, and the worst violation of each.

    python -m tests.properties 300            # seeds 1000 to 1299, all laws
    python -m tests.properties 300 5000 as_mesh little_fan

Prints each broken law with its seed as it is met, then a table: the median and the largest
difference between what should be equal, of the brightest pixel, and the largest over what the
plates state, with the seeds that gave them. Ends with status 1 if a law was broken. Some three
seconds of processor time a scene.
"""

from __future__ import annotations

import math
import statistics
import sys
import time
from collections.abc import Callable, Iterable

from tests.laws import LAWS, Violation

FIRST = 1000
Law = Callable[[int], Violation]


def tally(law: Law, seeds: Iterable[int], tell: Callable[[str], None]) -> dict[int, Violation]:
    """A law's violations by seed; tells of those that break it."""
    found = {}
    for seed in seeds:
        try:
            found[seed] = law(seed)
        except Exception as error:  # a scene that is refused or fails counts as broken, too
            found[seed] = Violation(math.inf, 0.0)
            tell(f"RAISED {law.__name__} seed {seed}: {type(error).__name__}: {error}")
            continue
        if found[seed].ratio > 1.0:
            tell(f"BROKEN {law.__name__} seed {seed}: {found[seed]}")
    return found


def table_row(law: Law, found: dict[int, Violation], seconds: float) -> str:
    """Worst difference and worst ratio with their seeds."""
    far = max(found, key=lambda seed: found[seed].difference)
    worst = max(found, key=lambda seed: found[seed].ratio)
    broken = sum(off.ratio > 1.0 for off in found.values())
    middle = statistics.median(off.difference for off in found.values())
    return (
        f"{law.__name__:18} {len(found):6d} {broken:6d}  {middle:7.1e}  "
        f"{found[far].difference:8.1e} ({far})  "
        f"{found[worst].ratio:6.3f} ({worst})  {seconds / len(found):5.1f}"
    )


def main(count: int, first: int = FIRST, names: Iterable[str] = ()) -> int:
    """Run the laws named (all, if none is) over seeds first .. first + count - 1."""
    wanted = set(names)
    chosen = [law for law in LAWS if law.__name__ in wanted] if wanted else LAWS
    print(f"seeds {first} to {first + count - 1}")
    head = "scenes broken   median   largest (seed)    over stated (seed)  s/scene"
    print(f"{'law':18} {head}", flush=True)
    broken = 0
    for law in chosen:
        begin = time.process_time()
        found = tally(law, range(first, first + count), lambda text: print(text, flush=True))
        print(table_row(law, found, time.process_time() - begin), flush=True)
        broken += sum(off.ratio > 1.0 for off in found.values())
    return int(broken > 0)


if __name__ == "__main__":
    given = sys.argv[1:]
    count = int(given[0]) if given else 300
    begin = int(given[1]) if len(given) > 1 else FIRST
    sys.exit(main(count, begin, names=given[2:]))
