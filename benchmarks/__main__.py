"""Print a table for each group of benchmarks: python -m benchmarks [GROUP ...]."""

from __future__ import annotations

import argparse
import importlib
import os
import platform

from rich.console import Console
from rich.table import Table

GROUPS = (
    "accuracy", "slits", "gratings", "grooves", "columns", "frames", "plane", "sunlight", "picture",
    "process", "profile",
)  # fmt: skip
ON_REQUEST = ("lines", "studies")  # minutes each


def main() -> None:
    """Run the groups named on the command line, by default all but those on request."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__)
    parser.add_argument(
        "groups", nargs="*", metavar="GROUP",
        help=f"{', '.join(GROUPS)} (all by default), {' or '.join(ON_REQUEST)}",
    )  # fmt: skip
    os.environ["OPENBLAS_NUM_THREADS"] = "1"  # as the command does, before numpy is loaded
    console = Console(width=160)
    machine = f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}"
    chosen = parser.parse_args().groups
    for name in sorted({*chosen} - {*GROUPS, *ON_REQUEST}):
        parser.error(f"no group {name!r}; expected one of {', '.join(GROUPS + ON_REQUEST)}")
    for name in chosen or GROUPS:
        table = Table(title=f"{name}: {machine}")
        for column in ("what", "measured", "against", "to reach", ""):
            table.add_column(column)
        for row in importlib.import_module(f"benchmarks.{name}").rows():
            table.add_row(
                row.what, row.measured, row.against, row.reach, "yes" if row.met else "NO"
            )
        console.print(table)


if __name__ == "__main__":
    main()
