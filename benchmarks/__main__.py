"""Print the table."""

from __future__ import annotations

import importlib
import os
import platform
import sys

from rich.console import Console
from rich.table import Table

GROUPS = (
    "accuracy", "slits", "gratings", "grooves", "columns", "frames", "plane", "sunlight", "picture",
    "process", "profile",
)  # fmt: skip


def main(names: list[str]) -> None:
    """Run the named groups, all of them by default."""
    table = Table(
        title=f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}"
    )
    for column in ("what", "measured", "against", "to reach", ""):
        table.add_column(column)
    for name in names or GROUPS:
        for row in importlib.import_module(f"benchmarks.{name}").rows():
            table.add_row(
                row.what, row.measured, row.against, row.reach, "yes" if row.met else "NO"
            )
    Console(width=160).print(table)


if __name__ == "__main__":
    main(sys.argv[1:])
