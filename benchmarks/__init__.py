"""Benchmarks: what the program is measured against, in the same run.

python -m benchmarks            the whole table
python -m benchmarks accuracy slits gratings process
"""
