"""The engine against textbook formulas: where each holds and where it fails.

compared = compare(wavesim.load("scenes/slits_005.toml"), tolerance=0.01)
compared.to_pandas()
for one in compared.comparisons:
    print(one.title, "fails", one.fails, one.fails_at, one.unit)
"""

from wavesim.study.compare.files import save
from wavesim.study.compare.result import (
    Approximation,
    Check,
    Comparison,
    FailureEstimate,
    FormulaComparisons,
    Row,
)
from wavesim.study.compare.running import APPROXIMATIONS, compare, stated, vary

__all__ = [
    "APPROXIMATIONS",
    "Approximation",
    "Check",
    "Comparison",
    "FailureEstimate",
    "FormulaComparisons",
    "Row",
    "compare",
    "save",
    "stated",
    "vary",
]
