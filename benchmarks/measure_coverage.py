"""Stated uncertainties of measured lines against their true misses, over many plates.

python -m benchmarks.measure_coverage 200
"""

from __future__ import annotations

import sys

from tests.test_measure_coverage import main

if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 60)
