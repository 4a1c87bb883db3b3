"""Writes the tables in wavesim/light/data from their sources.

    python -m tests.generate_light_tables [--packages FOLDER] [TABLE ...]

Sources: colour-science; solar_lines.csv and solar_continuum.csv of the reference folder; and, in
FOLDER (wheels unpacked there), rascal 0.3.11 (NIST ASD lines) and pyemili 1.2.0 (Atomic Line List
3.00b4). Run by hand when a source changes; the package never imports it.
"""

from __future__ import annotations

import argparse
import csv
from pathlib import Path

import numpy as np

from tests.hydrogen_lines import components
from tests.reference import reference
from tests.solar_lines import transmission_spectrum
from wavesim.light.air import from_vacuum

DATA = Path(__file__).resolve().parents[1] / "wavesim" / "light" / "data"
ILLUMINANTS = ["A", "D50", "D55", "D65", "D75", *[f"FL{k}" for k in range(1, 13)]]
PER_CM = 100.0  # 1/cm -> 1/m
SECOND_RADIATION_CM_K = 1.438776877


# --------------------------------------------------------------------------- colour-science


# Weak lines within the core of H, which the product of all lines makes too deep, and the core
# itself: air wavelength [nm], depth as fitted, depth that puts the core where it is observed.
CORE_OF_H = ((396.8110, 0.3553, 0.20), (396.8250, 0.1870, 0.05), (396.8469, 0.7219, 0.74))


def observer() -> None:
    """CIE 1931 2-degree colour-matching functions, 360 to 830 nm at 1 nm."""
    from colour import MSDS_CMFS

    cmfs = MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    rows = [
        [f"{wavelength:.0f}", *[f"{value:.12g}" for value in row]]
        for wavelength, row in zip(cmfs.wavelengths, cmfs.values, strict=True)
    ]
    _write("cie1931_2deg.csv", ["wavelength_nm", "x", "y", "z"], rows)


def illuminants() -> None:
    """CIE illuminants at 5 nm; blank where a table does not reach."""
    from colour import SDS_ILLUMINANTS

    rows = []
    for wavelength in range(360, 831, 5):
        row = [str(wavelength)]
        for name in ILLUMINANTS:
            table = SDS_ILLUMINANTS[name]
            inside = table.wavelengths[0] <= wavelength <= table.wavelengths[-1]
            row.append(f"{table[wavelength]:.9g}" if inside else "")
        rows.append(row)
    _write("illuminants.csv", ["wavelength_nm", *ILLUMINANTS], rows)


def g173_columns() -> np.ndarray:
    """Wavelength [nm], extraterrestrial, direct and global [W m-2 nm-1] of ASTM G173-03."""
    from colour.plotting.datasets import astm_g_173 as table

    return np.column_stack(
        [
            table.SD_ASTMG173_ETR.wavelengths,
            table.SD_ASTMG173_ETR.values,
            table.SD_ASTMG173_DIRECT_CIRCUMSOLAR.values,
            table.SD_ASTMG173_GLOBAL_TILT.values,
        ]
    )


def g173() -> None:
    """ASTM G173-03 from 355 to 835 nm."""
    rows = [
        [f"{value:.10g}" for value in row] for row in g173_columns() if 355.0 <= row[0] <= 835.0
    ]
    header = ["wavelength_nm", "above_W_m-2_nm-1", "direct_W_m-2_nm-1", "global_W_m-2_nm-1"]
    _write("astm_g173.csv", header, rows)


# --------------------------------------------------------------------------- the Sun


def solar() -> None:
    """Line table in whole units (0.1 pm, 1e-4, 0.01 pm) and the continuum fitted to G173."""
    table = np.genfromtxt(
        reference("solar_lines.csv"), delimiter=",", skip_header=1, usecols=(0, 1, 3, 4)
    )
    species = [row["species"] for row in csv.DictReader(reference("solar_lines.csv").open())]
    extra = supplement(table)
    table = np.concatenate((table, extra))
    species += ["supplement"] * len(extra)
    order = np.argsort(table[:, 0], kind="stable")
    table, species = table[order], [species[k] for k in order]
    for nm, depth, amended in CORE_OF_H:
        table[
            np.isclose(table[:, 0], nm, atol=2e-4) & np.isclose(table[:, 1], depth, atol=2e-4), 1
        ] = amended
    names = sorted(set(species))
    continuum = np.loadtxt(reference("solar_continuum.csv"), delimiter=",", skiprows=1)
    np.savez_compressed(
        DATA / "solar.npz",
        wavelength_tenth_pm=np.rint(table[:, 0] * 1e4).astype(np.uint32),
        depth_ten_thousandth=np.rint(table[:, 1] * 1e4).astype(np.uint16),
        gaussian_hundredth_pm=np.rint(table[:, 2] * 100).astype(np.uint32),
        lorentz_hundredth_pm=np.rint(table[:, 3] * 100).astype(np.uint32),
        species=np.array([names.index(name) for name in species], dtype=np.uint8),
        species_names=np.array(names),
        continuum_nm=continuum[:, 0],
        continuum_W_m2_nm=continuum[:, 2] * _scale_to_g173(continuum, table),
    )


def supplement(table: np.ndarray) -> np.ndarray:
    """Lines that the table lacks, or has too weak: rows like the table's, Gaussian only.

    Its unidentified lines stop at a depth of 0.56, so some blends (471.44, 516.23, 518.36 nm and
    the bands of CN and CH) come out 0.05 to 0.2 too bright. Wherever the fitted spectrum of Chance
    & Kurucz (2010) is darker by more than 2.5 % of the continuum, one line is fitted there. The
    wings of K (392.2 to 394.4 nm) are left alone: what is missing there is broad.
    """
    from scipy.optimize import least_squares

    with np.load(reference("solar_check_sao2010.npz")) as observed:
        nm, flux = observed["wavelength_air_nm"], observed["normalised_flux"].astype(float)
        fwhm = float(observed["resolution_fwhm_nm"])
    inside = (nm > 381.0) & (nm < 779.0)
    nm, flux = nm[inside], flux[inside]
    edges = 380.0 + 0.001 * np.arange(400_001)
    power, _ = transmission_spectrum(table).integrate(edges[:-1] * 1e-9, edges[1:] * 1e-9)
    x, fine = (edges[:-1] + edges[1:]) / 2, power / 1e-12
    rows = []
    for _ in range(2):
        miss = smoothed(x, fine, nm, fwhm) - flux
        peak = (miss[1:-1] > miss[:-2]) & (miss[1:-1] >= miss[2:]) & (miss[1:-1] > 0.025)
        for centre in nm[1:-1][peak & ((nm[1:-1] < 392.2) | (nm[1:-1] > 394.4))]:
            near, beside = np.abs(nm - centre) < 0.07, np.abs(x - centre) < 0.2

            def darker(q: np.ndarray, beside: np.ndarray = beside) -> np.ndarray:
                dip = q[1] * np.exp(-4 * np.log(2) * ((x[beside] - q[0]) / q[2]) ** 2)
                return fine[beside] * (1.0 - dip)

            found = least_squares(
                lambda q, near=near, beside=beside, darker=darker: (
                    smoothed(x[beside], darker(q), nm[near], fwhm) - flux[near]
                ),
                [centre, 0.5, 0.013],
                bounds=([centre - 0.02, 0.0, 0.008], [centre + 0.02, 0.95, 0.05]),
                x_scale=[0.01, 0.3, 0.01],
            ).x
            fine[beside] = darker(found)
            rows.append([found[0], found[1], found[2] * 1e3, 0.0])
    return np.array(rows)


def _scale_to_g173(continuum: np.ndarray, lines: np.ndarray) -> np.ndarray:
    """Smooth factor on the continuum's nodes: straight between knots every 20 nm, least squares.

    G173 is compared at 1.0 nm FWHM and 0.1 nm to the blue of its printed wavelengths, where its
    dark lines fall on the table's (found by comparing: 0.10 +- 0.03 nm, between air and vacuum).
    """

    fine = np.arange(380.0, 780.0, 0.01)
    power, _ = transmission_spectrum(lines).integrate(fine * 1e-9, (fine + 0.01) * 1e-9)
    middle = fine + 0.005
    model = power / 1e-11 * np.interp(middle, continuum[:, 0], continuum[:, 2])
    target = g173_columns()
    target = target[(target[:, 0] >= 382.0) & (target[:, 0] <= 778.0)]
    knots = np.linspace(380.0, 780.0, 21)
    design = np.column_stack(
        [
            smoothed(middle, model * np.interp(middle, knots, unit), target[:, 0] - 0.1, 1.0)
            for unit in np.eye(knots.size)
        ]
    )
    factor = np.linalg.lstsq(design / target[:, 1:2], np.ones(len(target)), rcond=None)[0]
    return np.interp(continuum[:, 0], knots, factor)


def smoothed(x: np.ndarray, y: np.ndarray, points: np.ndarray, fwhm: float) -> np.ndarray:
    """Even samples y(x) smoothed by a Gaussian, at any places."""
    step = x[1] - x[0]
    reach = int(np.ceil(2.5 * fwhm / step))
    offsets = np.arange(-reach, reach + 1)
    start = np.rint((points - x[0]) / step).astype(int)
    which = np.clip(start[:, None] + offsets, 0, x.size - 1)
    weight = np.exp(-4.0 * np.log(2.0) * ((x[0] + which * step - points[:, None]) / fwhm) ** 2)
    return (y[which] * weight).sum(axis=1) / weight.sum(axis=1)


# --------------------------------------------------------------------------- oxygen in the air

# 16-O2, in 1/cm, from memory: ground state B, D, spin-spin and spin-rotation constants; upper state
# origin, B, D. The origin of A was moved by -1.08 to meet the telluric spectrum carried by arve
# 0.8.3 (checked by the band's head only); B meets its lines to 1 pm without a shift.
_GROUND = (1.4376766, 4.841e-6, 1.984751, -0.00842536)
_UPPER = {"A": (13120.926, 1.3912496, 5.37e-6), "B": (14525.6615, 1.3729523, 5.40e-6)}
_AIR_K = 250.0  # mean temperature along the path


def oxygen() -> None:
    """Lines of the A and B bands: air wavelength and share of the band's strength at 250 K."""
    rows = []
    for band in "BA":
        lines = oxygen_lines(band)
        total = sum(line[1] for line in lines)
        for wavenumber, strength, name in lines:
            if strength > 1e-6 * total:
                air = float(from_vacuum(1.0 / (wavenumber * PER_CM))) * 1e9
                rows.append([f"{air:.5f}", band, f"{strength / total:.6g}", name])
    rows.sort()
    _write("oxygen_lines.csv", ["wavelength_air_nm", "band", "share", "transition"], rows)


def oxygen_lines(band: str) -> list[tuple[float, float, str]]:
    """Wavenumber [1/cm], strength (any unit), name, for b 1Sigma+ <- X 3Sigma- of one band.

    Schlapp's formulas for the ground state (Phys. Rev. 51, 342 (1937)); strengths of a magnetic
    dipole between Omega = 1 and 0 (Hoenl-London factors), with the exact mixing of Omega 0 and 1.
    """
    origin, b, d = _UPPER[band]
    lines = []
    for n in range(1, 60, 2):
        for name, j, upper in (("PP", n, n - 1), ("PQ", n - 1, n - 1), ("RR", n, n + 1),
                               ("RQ", n + 1, n + 1)):  # fmt: skip
            if j == 0:
                continue
            lower = _ground_level(n, j)
            fraction = {"P": (j + 1) / 4, "R": j / 4}.get(name[0], 0.0)
            if name[1] == "Q":
                fraction = (2 * j + 1) / 4 * _omega_one(n, j)
            wavenumber = origin + b * upper * (upper + 1) - d * (upper * (upper + 1)) ** 2 - lower
            weight = np.exp(-SECOND_RADIATION_CM_K * lower / _AIR_K)
            lines.append((wavenumber, wavenumber * fraction * weight, f"{name}{n}"))
    return lines


def _ground_level(n: int, j: int) -> float:
    b, d, spin, rotation = _GROUND
    level = b * n * (n + 1) - d * (n * (n + 1)) ** 2
    if j == n + 1:
        root = np.sqrt((2 * n + 3) ** 2 * b * b + spin**2 - 2 * spin * b)
        return float(level + (2 * n + 3) * b - spin - root + rotation * (n + 1))
    if j == n - 1:
        root = np.sqrt((2 * n - 1) ** 2 * b * b + spin**2 - 2 * spin * b)
        return float(level - (2 * n - 1) * b - spin + root - rotation * n)
    return level


def _omega_one(n: int, j: int) -> float:
    """Part of the level that has Omega = 1."""
    b, _, spin, _ = _GROUND
    mixing = 2 * b * np.sqrt(j * (j + 1))
    _, vectors = np.linalg.eigh(np.array([[2 * b - 2 * spin, mixing], [mixing, 0.0]]))
    return float(vectors[1, 0 if n == j - 1 else 1] ** 2)


# --------------------------------------------------------------------------- lamps

_BALMER = {3: 300.0, 4: 80.0, 5: 30.0, 6: 15.0, 7: 8.0, 8: 6.0, 9: 5.0}
_BALMER_SOURCE = "Dirac levels and Lamb shift; sum per line as NIST Handbook (from memory)"
_NIST = "NIST ASD as carried by rascal 0.3.11"
_SODIUM = [
    (589.1583264, 1000.0, 1.0, "Steck, Sodium D Line Data (vacuum, from memory)"),
    (589.7558147, 500.0, 0.5, "Steck, Sodium D Line Data (vacuum, from memory)"),
]
_SODIUM_WEAK = [  # air wavelength, strength: NIST Handbook, from memory
    (466.4811, 1.5), (466.8559, 2.5), (497.8541, 2.0), (498.2813, 3.0), (514.8838, 1.2),
    (515.3402, 2.0), (568.2633, 3.5), (568.8205, 7.0), (615.4225, 1.5), (616.0747, 3.0),
    (818.3256, 25.0), (819.4824, 50.0),
]  # fmt: skip
# lines that share one upper level: strength = A / wavelength, so their ratios are sure
_MERCURY_TRIPLET = {4047.7081: 2.07e7, 4359.5600: 5.6e7, 5462.2675: 4.9e7}
_CADMIUM_TRIPLET = {4679.4587: 1.3e7, 4801.2540: 4.1e7, 5087.2393: 5.6e7}
_NEON_K = 1.0e4  # excitation temperature, common practice for a glow, no source


def lamps(packages: Path) -> None:
    """Lines of the lamps: air wavelength, relative power, relative optical depth, origin."""
    rows: list[tuple[str, float, float, float, str]] = []
    for n, strength in _BALMER.items():
        for wavelength, fraction, name in components(n):
            air = float(from_vacuum(wavelength)) * 1e9
            rows.append(("H", air, strength * fraction, 0.0, f"{name}; {_BALMER_SOURCE}"))
    nist = packages / "rascal" / "arc_lines" / "all_nist.csv"
    atomic = np.load(packages / "pyemili" / "Line_dataset" / "Linedb_v1.2.npz")["arr_0"]
    rows += _multiplets(_from_nist(nist, "He", 9.0, {}), _neutral(atomic, 2))
    rows += _neon(_neutral(atomic, 10))
    for vacuum, strength, depth, source in _SODIUM:
        rows.append(("Na", float(from_vacuum(vacuum * 1e-9)) * 1e9, strength, depth, source))
    for air, strength in _SODIUM_WEAK:
        rows.append(("Na", air, strength, 0.0, "NIST Handbook (air, from memory)"))
    rows += _from_nist(nist, "Hg", 100.0, _MERCURY_TRIPLET)
    rows += _from_nist(nist, "Cd", 25.0, _CADMIUM_TRIPLET)
    text = [[e, f"{w:.5f}", f"{s:.5g}", f"{d:g}", o] for e, w, s, d, o in rows]
    header = ["element", "wavelength_air_nm", "strength", "optical_depth", "origin"]
    _write("lamps.csv", header, text)


def _from_nist(
    path: Path, element: str, least: float, triplet: dict[float, float]
) -> list[tuple[str, float, float, float, str]]:
    observed: dict[float, float] = {}
    for row in csv.DictReader(path.open()):
        digits = "".join(c for c in row["intens"] if c.isdigit() or c == ".")
        angstrom = float(row["obs_wl_vac(A)"] or 0.0)
        neutral = row["element"] == element and row["sp_num"] == "1"
        if neutral and 3600 < angstrom < 8300 and digits and float(digits) >= least:
            observed[angstrom] = float(digits)
    anchor = max(triplet, key=lambda w: observed[w] if w > 4300 else 0.0) if triplet else 0.0
    rows = []
    for angstrom, intensity in sorted(observed.items()):
        air = float(from_vacuum(angstrom * 1e-10)) * 1e9
        origin = f"{_NIST}; strength its intensity, an observer's estimate"
        if angstrom in triplet:
            intensity = observed[anchor] * triplet[angstrom] / triplet[anchor] * anchor / angstrom
            origin = f"{_NIST}; strength A / wavelength within the triplet"
        elif element == "Hg" and row_is_faint(air):
            intensity, origin = intensity / 10, f"{origin} on another scale, divided by 10"
        if element == "Cd" and abs(air - 643.847) < 0.001:
            air, origin = 643.84696, "defined in 1907 (check value of metrology); strength NIST"
        rows.append((element, air, intensity, 0.0, origin))
    return rows


def row_is_faint(air_nm: float) -> bool:
    """Mercury lines whose NIST intensity comes from observers with a stretched scale."""
    return air_nm > 580.0 or 490.0 < air_nm < 540.0 or 560.0 < air_nm < 570.0


def _neutral(table: np.ndarray, charge: int) -> np.ndarray:
    """Neutral lines of one element with a transition rate, 360 to 830 nm.

    Columns: 0 air wavelength [A], 1 nuclear charge, 2 ionization, 5 upper weight g, 9 upper level
    [1/cm], 10 rate A [1/s].
    """
    keep = (table[:, 1] == charge) & (table[:, 2] == 1) & (table[:, 10] > 0)
    return table[keep & (table[:, 0] > 3600) & (table[:, 0] < 8300)]


def _multiplets(
    rows: list[tuple[str, float, float, float, str]], table: np.ndarray
) -> list[tuple[str, float, float, float, str]]:
    """Lines shared out over their fine-structure components (within 0.06 nm) by g A."""
    centres = np.array([row[1] for row in rows])
    air = table[:, 0] / 10.0
    nearest = np.argmin(np.abs(air[:, None] - centres), axis=1)
    close = np.abs(air - centres[nearest]) < 0.06
    result = []
    for k, (element, _, strength, depth, _) in enumerate(rows):
        members = np.flatnonzero(close & (nearest == k))
        weight = table[members, 5] * table[members, 10]
        origin = (
            "Atomic Line List 3.00b4 as carried by pyemili 1.2.0; strength NIST's intensity of "
            "the multiplet (rascal 0.3.11) shared by g A"
        )
        for member, fraction in zip(members, weight / weight.sum(), strict=True):
            if fraction > 1e-3:
                result.append((element, float(air[member]), strength * fraction, depth, origin))
    return sorted(result, key=lambda row: row[1])


def _neon(table: np.ndarray) -> list[tuple[str, float, float, float, str]]:
    boltzmann = np.exp(-SECOND_RADIATION_CM_K * (table[:, 9] - table[:, 9].min()) / _NEON_K)
    power = table[:, 5] * table[:, 10] / table[:, 0] * boltzmann
    power *= 1000.0 / power.max()
    origin = (
        "Atomic Line List 3.00b4 as carried by pyemili 1.2.0; strength g A / wavelength at 10000 K"
    )
    return [
        ("Ne", float(w) / 10.0, float(p), 0.0, origin)
        for w, p in zip(table[:, 0], power, strict=True)
        if p >= 2.0
    ]


def _write(name: str, header: list[str], rows: list[list[str]]) -> None:
    with (DATA / name).open("w", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(header)
        writer.writerows(rows)


def main() -> None:
    """Write the tables named on the command line, or all."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--packages", type=Path, help="folder with rascal and pyemili unpacked")
    parser.add_argument("table", nargs="*")
    chosen = parser.parse_args()
    DATA.mkdir(parents=True, exist_ok=True)
    makers = {f.__name__: f for f in (observer, illuminants, g173, solar, oxygen)}
    for name in chosen.table or makers:
        if name in makers:
            makers[name]()
    if chosen.packages and (not chosen.table or "lamps" in chosen.table):
        lamps(chosen.packages)


if __name__ == "__main__":
    main()
