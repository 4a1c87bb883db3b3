"""How far the synthetic Sun is from observed sunlight, at several resolving powers.

    python -m tests.light_residuals

prints the tables; the tests use the same functions. Observed spectra: Chance & Kurucz (2010), the
reference spectrum at 0.04 nm, to which the line table was fitted; and sunlight reflected by
Jupiter at resolving power 80,000, which was not fitted.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.generate_light_tables import g173_columns, smoothed
from tests.reference import reference
from tests.solar_lines import transmission_spectrum
from wavesim.light import sun

Reals = NDArray[np.float64]

NAMED_NM = {
    "K Ca II": 393.366, "H Ca II": 396.847, "h H delta": 410.174, "g Ca I": 422.673,
    "G Fe+Ca": 430.790, "G' H gamma": 434.047, "F H beta": 486.133, "b4 Mg I": 516.732,
    "b2 Mg I": 517.268, "b1 Mg I": 518.360, "E Fe I": 526.954, "D2 Na I": 588.995,
    "D1 Na I": 589.592, "C H alpha": 656.280,
}  # fmt: skip


@dataclass(frozen=True)
class Comparison:
    """Model and observation on one grid [nm], in fractions of the continuum."""

    wavelength_nm: Reals
    model: Reals
    observed: Reals

    @property
    def residual(self) -> Reals:
        """Model minus observation."""
        return self.model - self.observed

    def rms(self, lo_nm: float, hi_nm: float) -> float:
        """Root mean square residual of a range."""
        inside = (self.wavelength_nm >= lo_nm) & (self.wavelength_nm < hi_nm)
        return float(np.sqrt(np.mean(self.residual[inside] ** 2)))

    def at(self, line_nm: float) -> tuple[float, float]:
        """Smallest model and observed values within 0.05 nm of a line."""
        near = np.abs(self.wavelength_nm - line_nm) < 0.05
        return float(self.model[near].min()), float(self.observed[near].min())


def model_transmission(lo_nm: float, hi_nm: float, step_nm: float) -> tuple[Reals, Reals]:
    """Mean transmission of the lines in even bins: bin centres [nm] and values."""
    count = round((hi_nm - lo_nm) / step_nm)
    edges = (lo_nm + step_nm * np.arange(count + 1)) * 1e-9
    table = sun.lines()
    columns = np.column_stack(
        [table.wavelength_m * 1e9, table.depth, table.gaussian_m * 1e12, table.lorentz_m * 1e12]
    )
    power, _ = transmission_spectrum(columns).integrate(edges[:-1], edges[1:])
    return (edges[:-1] + edges[1:]) * 5e8, power / np.diff(edges)


def against_reference_spectrum(resolving_power: float | None) -> Comparison:
    """380 to 780 nm; None: at the observation's own 0.04 nm."""
    with np.load(reference("solar_check_sao2010.npz")) as table:
        wavelength = table["wavelength_air_nm"]
        observed = table["normalised_flux"].astype(float)
        native = float(table["resolution_fwhm_nm"])
    x, y = model_transmission(380.0, 780.0, 0.002)
    nm = wavelength[(wavelength > 381.0) & (wavelength < 779.0)]
    parts = []
    for lo in np.arange(381.0, 779.0, 1.0):
        here = nm[(nm >= lo) & (nm < lo + 1.0)]
        fwhm = native if resolving_power is None else (lo + 0.5) / resolving_power
        extra = np.sqrt(max(fwhm**2 - native**2, 0.0))
        model = smoothed(x, y, here, max(fwhm, native))
        observed_at = _uneven(wavelength, observed, here, extra)
        parts.append((here, model, observed_at))
    return Comparison(*(np.concatenate([p[k] for p in parts]) for k in range(3)))


def against_high_resolution(resolving_power: float) -> Comparison:
    """652 to 686 nm, at most resolving power 80,000; cubics over 3 nm are taken out."""
    with np.load(reference("solar_check_high_resolution.npz")) as table:
        wavelength = table["wavelength_air_nm"]
        observed = table["normalised_flux"].astype(float)
        good, recommended = table["good"], table["recommended"]
        native = float(table["R"])
    x, y = model_transmission(645.0, 690.0, 0.0005)
    parts = []
    for lo in np.arange(652.0, 686.0, 1.0):
        fwhm = (lo + 0.5) / resolving_power
        extra = np.sqrt(max(fwhm**2 - ((lo + 0.5) / native) ** 2, 0.0))
        here = (wavelength >= lo) & (wavelength < lo + 1.0) & good & recommended
        if here.any():
            observed_at = _uneven(wavelength[good], observed[good], wavelength[here], extra)
            parts.append((wavelength[here], smoothed(x, y, wavelength[here], fwhm), observed_at))
    w, model, observed_at = (np.concatenate([p[k] for p in parts]) for k in range(3))
    for lo in np.arange(652.0, 686.0, 3.0):
        inside = (w >= lo) & (w < lo + 3.0)
        if inside.sum() > 50:
            t = (w[inside] - lo) / 1.5 - 1.0
            observed_at[inside] *= np.polyval(
                np.polyfit(t, model[inside] / observed_at[inside], 3), t
            )
    return Comparison(w, model, observed_at)


def against_g173(*, shift_nm: float = 0.0) -> Comparison:
    """Smoothed spectrum over G173 (as `model`, with 1 as `observed`), 382 to 778 nm, 1 nm FWHM."""
    edges = np.arange(380.0, 780.0, 0.01)
    power, _ = sun.irradiance().integrate(edges * 1e-9, (edges + 0.01) * 1e-9)
    table = g173_columns()
    table = table[(table[:, 0] >= 382.0) & (table[:, 0] <= 778.0)]
    ours = smoothed(edges + 0.005, power / 0.01, table[:, 0] - shift_nm, 1.0)
    return Comparison(table[:, 0], ours / table[:, 1], np.ones(len(table)))


def _uneven(x: Reals, y: Reals, points: Reals, fwhm: float) -> Reals:
    if fwhm < 1e-4:
        return np.interp(points, x, y)
    step = fwhm / 10.0
    even = np.arange(points[0] - 4 * fwhm, points[-1] + 4 * fwhm, step)
    return smoothed(even, np.interp(even, x, y), points, fwhm)


def main() -> None:
    """Print every table."""
    ranges = [(381, 400), (400, 450), (450, 500), (500, 600), (600, 700), (700, 779), (381, 779)]
    print("rms residual, per cent of the continuum")
    print("resolving power  " + "  ".join(f"{lo}-{hi}" for lo, hi in ranges))
    comparisons = {}
    for power in (1000.0, 10_000.0, None):
        found = comparisons[power] = against_reference_spectrum(power)
        row = "  ".join(f"{100 * found.rms(lo, hi):7.2f}" for lo, hi in ranges)
        print(f"{power or '0.04 nm':>15}  {row}")
    for power in (10_000.0, 50_000.0, 80_000.0):
        found = against_high_resolution(power)
        print(f"{power:>15}  652-686 nm, not fitted: {100 * found.rms(652, 686):.2f}")
        if power == 50_000.0:
            per_nm = [f"{100 * found.rms(lo, lo + 1):.1f}" for lo in range(652, 686)]
            print("   per nm from 652: " + " ".join(per_nm))
    per_nm = [f"{100 * comparisons[10_000.0].rms(lo, lo + 1):.1f}" for lo in range(381, 779)]
    print("per nm from 381, at 10,000: " + " ".join(per_nm))
    print("line: model / observed at 1,000; at 10,000; at 0.04 nm")
    for name, nm in NAMED_NM.items():
        values = [comparisons[power].at(nm) for power in (1000.0, 10_000.0, None)]
        print(f"{name:12s} {nm:8.3f}  " + "  ".join(f"{m:.3f} / {o:.3f}" for m, o in values))
    for shift in (0.0, 0.1):
        found = against_g173(shift_nm=shift)
        print(
            f"G173 read {shift} nm to the blue: rms 400-700 {100 * found.rms(400, 700):.2f} %, "
            f"382-778 {100 * found.rms(382, 778):.2f} %"
        )


if __name__ == "__main__":
    main()
