"""Lines and ghosts of random gratings told apart: counts, and seconds a grating.

python -m benchmarks.measure_ghosts 100
"""

from __future__ import annotations

import sys
import time

from tests.test_measure_ghosts import main

if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    begin = time.perf_counter()
    main(count)
    print(f"{(time.perf_counter() - begin) / count:.2f} s a grating, exposure included")
