"""Benchmarks: what the program is measured against, in the same run.

    python -m benchmarks                            the whole table
    python -m benchmarks accuracy slits gratings    some groups of it

On their own: `benchmarks.lines` (dark lines found), `benchmarks.hostile` (mutants and kills),
`benchmarks.measure_ghosts` (lines told from ghosts), `benchmarks.plane`, `benchmarks.picture`.
"""
