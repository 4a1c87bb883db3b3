"""Writes the tables in wavesim/light/data from colour-science and the reference folder.

    python -m tests.generate_light_tables

Run by hand when a source changes; nothing here is imported by the package or its tests' code.
"""

from __future__ import annotations

from pathlib import Path

DATA = Path(__file__).resolve().parents[1] / "wavesim" / "light" / "data"


def observer() -> None:
    """CIE 1931 2-degree colour-matching functions, 360 to 830 nm at 1 nm."""
    from colour import MSDS_CMFS

    cmfs = MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    lines = ["wavelength_nm,x,y,z"]
    for wavelength, row in zip(cmfs.wavelengths, cmfs.values, strict=True):
        lines.append(f"{wavelength:.0f}," + ",".join(f"{value:.12g}" for value in row))
    (DATA / "cie1931_2deg.csv").write_text("\n".join(lines) + "\n")


def main() -> None:
    """Write every table."""
    DATA.mkdir(parents=True, exist_ok=True)
    observer()


if __name__ == "__main__":
    main()
