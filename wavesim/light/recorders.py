"""What records the light in place of the CIE 1931 observer: another observer, a sensor, a film.

A recorder is three curves over wavelength that weigh the light as colour-matching functions do, so
that it goes the same way through the plate and the picture. Its values are shown under D65.

sensor
    Three response curves s [per watt] and one matrix M, as a camera's own. M s follows the CIE
    1931 functions with least squares, weighted by D65, while the white of D65 is kept:

        minimise  integral |M s - (x, y, z)|^2 D65 dlambda
        with      M integral s D65 dlambda = integral (x, y, z) D65 dlambda.

    No wavelength gets a negative Y. ISO 17321-1 finds such a matrix from a test chart; here it is
    found over all light ("maximum ignorance"). No real sensor is free of error here (Luther's
    condition): its spectra are not the observer's. Channels that are full, and what a maker's own
    software does, are not modelled.
film
    One curve s. The exposure that the film counts is the one of daylight (D55, by which ISO 6:1993
    finds speeds) that blackens it as much; it is shown as a grey.

Curves are straight between their points, read at the whole nanometres from 360 to 830 nm; what is
sent beyond is not counted.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from wavesim import tables
from wavesim.arrays import Floats, frozen
from wavesim.constants import LUMINOUS_EFFICACY_LM_W
from wavesim.errors import TableError
from wavesim.light import smooth
from wavesim.light.observer import colour_matching, observer, straight_between
from wavesim.light.photometry import luminous, weighted
from wavesim.tables import LENGTHS_M

if TYPE_CHECKING:
    from wavesim.light.pieces import Spectrum
    from wavesim.scene import Exposure, Scene
    from wavesim.scene.recording import FilmSensitivity, SensorCurves

D65_XYZ = (0.95047, 1.0, 1.08883)  # CIE 15:2004, 2-degree observer

# A model of our own: Gaussian curves about where the dyes of colour filters pass
GAUSSIAN_NM = {"red": (600.0, 80.0), "green": (540.0, 85.0), "blue": (460.0, 60.0)}  # centre, FWHM

# Models of our own: lg of the sensitivity, after the ranges that textbooks give for emulsions
# without dyes, with dyes for green and yellow, and with dyes for red (common practice, no source)
FILM_LOG = {
    "blue": ((360, 0.0), (440, 0.1), (480, -0.2), (500, -0.8), (530, -3.0)),
    "orthochromatic": (
        (360, 0.0), (440, 0.1), (480, -0.2), (505, -0.6), (540, 0.0), (560, 0.1), (580, -0.4),
        (610, -3.0),
    ),
    "panchromatic": (
        (360, -0.1), (440, 0.0), (480, -0.2), (510, -0.4), (550, -0.2), (600, 0.0), (640, 0.05),
        (665, -0.3), (700, -3.0),
    ),
}  # fmt: skip

_WAVELENGTH = re.compile(r"wavelength_(\S+)", re.IGNORECASE)
_SENSOR_RIGHT = 'the header "wavelength_nm,red,green,blue"'
_FILM_RIGHT = 'the header "wavelength_nm,sensitivity" or "wavelength_nm,log_sensitivity"'
_MOST_ROWS = 100_000  # of a table of sensitivities
_LARGEST, _MOST_DECADES = 1e12, 12.0
_ROUNDING = 1e-9
_MOST_ALIKE = 1e10  # condition of the responses' products


def counted_by(scene: Scene) -> tuple[Callable[[Spectrum], float], Callable[[Floats], Floats]]:
    """How the scene's recorder counts light: a spectrum's level [lx or cd/m2], and its curve.

    The curve (...) [1] over air wavelengths (...) [m] is V of CIE 1931, or the recorder's own.
    """
    found = recorder_of(scene)
    if found is None:
        return luminous, lambda wavelength_m: colour_matching(wavelength_m)[..., 1]
    return (
        lambda spectrum: float(found.records(spectrum)[1]),
        lambda wavelength_m: found.at(wavelength_m)[..., 1],
    )


def recorder_words(exposure: Exposure) -> str:
    """What records the light, in words; empty for the CIE 1931 observer."""
    if exposure.sensor is not None:
        source = exposure.sensor.file or "generic Gaussian curves"
        return f"sensor: {source}"
    if exposure.film is not None:
        source = exposure.film.file or f"generic {exposure.film.sensitivity} emulsion"
        return f"film: {source}"
    return "" if exposure.observer == "cie1931_2deg" else f"observer: {exposure.observer}"


@dataclass(frozen=True, eq=False)
class Recorder:
    """Three curves that weigh light; 683 lm/W times their integral is an exposure [lx s].

    Attributes
    ----------
    wavelength_m : (n,) [m] in air
    curves : (n, 3) [1] as x, y, z; a sensor's may be negative
    white_xyz : (3,) what it makes of D65, Y = 1
    grey : whether all light looks grey to it
    """

    wavelength_m: Floats
    curves: Floats
    white_xyz: Floats
    grey: bool = False

    def at(self, wavelength_m: Floats) -> Floats:
        """(..., 3) the curves at any wavelengths (...) [m]."""
        return straight_between(self.wavelength_m, self.curves, wavelength_m)

    def records(self, spectrum: Spectrum) -> Floats:
        """(3,) of a spectrum, as `photometry.tristimulus` of the CIE 1931 observer."""
        exposure = LUMINOUS_EFFICACY_LM_W * weighted(spectrum, self.wavelength_m, self.curves)
        return np.asarray(exposure)


def recorder_of(scene: Scene) -> Recorder | None:
    """What the scene's [exposure] asks for; None for the CIE 1931 observer.

    Raises
    ------
    TableError
        A table of curves that cannot be read, or that makes no white.
    """
    wanted = scene.exposure
    if wanted.sensor is not None:
        return _sensor(wanted.sensor, scene.folder)
    if wanted.film is not None:
        return _film(wanted.film, scene.folder)
    if wanted.observer == "cie1931_2deg":
        return None
    wavelength_m, cmf = observer(wanted.observer)
    return _recorder(wavelength_m, cmf)


def _recorder(wavelength_m: Floats, curves: Floats, *, grey: bool = False) -> Recorder:
    white = weighted(smooth.illuminant("D65"), wavelength_m, curves)
    return Recorder(wavelength_m, frozen(curves), frozen(white / white[1]), grey)


def observer_white(name: str) -> Floats:
    """(3,) XYZ of D65 to a standard observer, Y = 1."""
    return _recorder(*observer(name)).white_xyz


def _sensor(wanted: SensorCurves, folder: Path) -> Recorder:
    wavelength_m, _ = observer()
    file = None if wanted.file is None else folder / wanted.file
    if file is None:
        responses = _gaussian(wavelength_m)
    else:
        responses = _table(file, ("red", "green", "blue"), _SENSOR_RIGHT, wavelength_m)
    return _recorder(wavelength_m, responses @ colour_matrix(responses, file).T)


def _gaussian(wavelength_m: Floats) -> Floats:
    """(n, 3) the model's red, green and blue response, 1 at the peak."""
    centre, width = np.array(list(GAUSSIAN_NM.values())).T * 1e-9
    return np.asarray(np.exp(-4 * np.log(2) * ((wavelength_m[:, None] - centre) / width) ** 2))


def colour_matrix(responses: Floats, file: Path | None = None) -> Floats:
    """Matrix (3, 3) from a sensor's responses to XYZ; responses (471, 3) at 360 to 830 nm.

    Each row r of M by Lagrange's multiplier: with G = integral s s^T D65, h = integral c s D65 of
    the curve c that it follows, w the sensor's white and W the curve's,

        r = G^-1 h + G^-1 w (W - w^T G^-1 h) / (w^T G^-1 w).

    Where the Y of some wavelength would be negative, a light darker than black, the row of Y has no
    negative entry: the best of those that use some of the responses only.

    Raises
    ------
    TableError
        Curves that depend on one another, so that colours cannot be told apart.
    """
    wavelength_m, cmf = observer()
    light = _illuminant("D65", wavelength_m)
    weighed = responses * light[:, None]
    gram = weighed.T @ responses
    if not np.linalg.cond(gram) < _MOST_ALIKE:
        raise TableError(
            "holds curves that depend on one another", file=file,
            expected="three curves that differ in shape",
        )  # fmt: skip

    def row(curve: Floats, used: tuple[int, ...] = (0, 1, 2)) -> tuple[float, Floats]:
        """Squared residual and the row that uses those responses."""
        inner, white = gram[np.ix_(used, used)], light @ responses[:, used]
        across = np.linalg.solve(inner, white)
        fitted = np.linalg.solve(inner, weighed[:, used].T @ curve)
        found = np.zeros(3)
        found[list(used)] = fitted + across * (light @ curve - white @ fitted) / (white @ across)
        return float(light @ (responses @ found - curve) ** 2), found

    subsets = [used for n in (1, 2, 3) for used in combinations(range(3), n)]
    x, y, z = cmf.T
    best = row(y)[1]
    bright = responses @ best
    if bright.min() < -_ROUNDING * bright.max():
        found = [
            candidate for candidate in (row(y, used) for used in subsets) if candidate[1].min() >= 0
        ]
        best = min(found, key=lambda candidate: candidate[0])[1]
    return np.stack([row(x)[1], best, row(z)[1]])


def _film(wanted: FilmSensitivity, folder: Path) -> Recorder:
    wavelength_m, cmf = observer()
    file = None if wanted.file is None else folder / wanted.file
    if file is None:
        wavelength, lg = np.array(FILM_LOG[wanted.sensitivity], dtype=np.float64).T
        lg = np.interp(wavelength_m * 1e9, wavelength, lg, right=-np.inf)
        response = 10.0**lg
    else:
        response = _table(file, ("sensitivity",), _FILM_RIGHT, wavelength_m)[:, 0]
    daylight = _illuminant("D55", wavelength_m)
    counted = daylight @ response
    if not counted > 0:
        raise TableError(
            "is not sensitive to daylight", file=file, expected="values between 360 and 830 nm"
        )
    curve = response * (daylight @ cmf[:, 1] / counted)
    return _recorder(wavelength_m, np.outer(curve, D65_XYZ), grey=True)


def _illuminant(name: str, wavelength_m: Floats) -> Floats:
    """Relative power of a CIE illuminant at whole nanometres."""
    power, _ = smooth.illuminant(name).integrate(wavelength_m - 5e-10, wavelength_m + 5e-10)
    return np.asarray(power / power.max())


def _table(file: Path, names: tuple[str, ...], expected: str, wavelength_m: Floats) -> Floats:
    """(n, c) columns of a table, straight between its wavelengths, zero beyond."""
    table = tables.read(file, empty="is empty", expected=expected, most_rows=_MOST_ROWS)
    header = [name.lower() for name in table.header]
    unit = _WAVELENGTH.fullmatch(header[0])
    logs = header[1:2] == ["log_sensitivity"] and len(names) == 1
    if unit is None or unit.group(1) not in LENGTHS_M or not (
        logs or header[1 : 1 + len(names)] == list(names)
    ):  # fmt: skip
        raise table.wrong(-1, "is not a table of sensitivities", expected=expected)
    count = 1 + len(names)
    rows = table.numbers(count, f"is not a row of {count} numbers")
    table.check_finite(rows)
    wavelength, values = rows[:, 0] * LENGTHS_M[unit.group(1)], rows[:, 1:]
    table.check_rising(wavelength, "wavelength does not ascend")
    low, high = (-_MOST_DECADES, _MOST_DECADES) if logs else (0.0, _LARGEST)
    bad = np.flatnonzero(((values < low) | (values > high)).any(axis=1))
    if bad.size:
        k = int(bad[0])
        raise table.wrong(k, "is out of range", table.texts[k], f"{low:g} to {high:g}")
    found = straight_between(wavelength, values, wavelength_m)
    if logs:
        inside = (wavelength_m >= wavelength[0]) & (wavelength_m <= wavelength[-1])
        found = np.where(inside[:, None], 10.0**found, 0.0)
    return found
