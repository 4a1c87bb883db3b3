"""Benchmarks: what the program is measured against, in the same run.

    python -m benchmarks                            the whole table
    python -m benchmarks accuracy slits gratings    some groups of it

On their own: `benchmarks.lines` (dark lines found), `benchmarks.plane`, `benchmarks.picture`.
They need nothing but the program itself; the tests use `bench.py` and `references.py` as well.
"""
