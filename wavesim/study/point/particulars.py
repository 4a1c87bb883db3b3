"""What at a point comes of this bench alone: ghosts, lines that errors break, the Sun's dark lines,
grooves that send little there, a lens whose rim cuts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from wavesim.scene import PeriodicDefect, Ruled, Sun
from wavesim.study.focus import rulings_through_lens
from wavesim.study.point.bands import Remaining

if TYPE_CHECKING:
    from wavesim.study.point import PlatePoint
    from wavesim.study.predict import Ghost

_WEAK = 0.1  # of a groove's brightest direction: less is worth a word
_THROUGH = 0.9  # of the rulings: fewer through the camera lens are worth a word
_DARK_LINE = 0.8  # of the Sun's light on both sides: less is a line
_BESIDE_M = 1.5e-9
_FINE_M = 0.2e-9  # bands wider than that hold more than a line
_GHOSTS_ABOVE = 1e-8  # of their line


def strayed(found: PlatePoint, bands: Sequence[Remaining]) -> list[str]:
    """What bands are that stand in no order: ghosts, broken lines, wings of maxima elsewhere."""
    texts: dict[str, None] = {}
    for band in bands:
        ghost = _ghost(found, band)
        if ghost is not None:
            texts[_named(band, ghost)] = None
        elif _broken(found, band):
            order = round(band.path_difference)
            texts[f"order {order} of {_nm(band)} would lie here, but errors of the ruling "
                f"extinguish it"] = None  # fmt: skip
    return list(texts) or [_faint(found)]


def particulars(found: PlatePoint, held: Sequence[Remaining]) -> list[str]:
    """What weakens the orders `held` that stand there."""
    return [*_grooves(found, held), *_dark_lines(found, held), *_rim(found)]


def _faint(found: PlatePoint) -> str:
    """Of light that belongs to no position."""
    aperture = found.scene.aperture
    if isinstance(aperture, Ruled) and any(defect.kind == "random" for defect in aperture.defects):
        return (
            "only light scattered by random errors of the ruling and the faint wings of "
            "maxima arrives there"
        )
    return "only the faint wings of maxima elsewhere arrive there"


def _ghost(found: PlatePoint, band: Remaining) -> Ghost | None:
    """The strongest ghost that a band's light has at the point."""
    aperture = found.scene.aperture
    periodic = isinstance(aperture, Ruled) and any(
        isinstance(defect, PeriodicDefect) for defect in aperture.defects
    )
    if not periodic:
        return None
    from wavesim.study.predict import predict

    ghosts = predict(found.scene, wavelengths_m=(band.mixing_m,), ghosts_above=_GHOSTS_ABOVE).ghosts
    near = _reach(found, band)
    close = [ghost for ghost in ghosts if abs(ghost.mu - band.path_difference) <= near]
    return max(close, key=lambda ghost: ghost.observed, default=None)


def _reach(found: PlatePoint, band: Remaining) -> float:
    """Half-width of a line and of a spectrum's step, in orders."""
    return found.half_width + found.spectrum.step_m / band.mixing_m


def _named(band: Remaining, ghost: Ghost) -> str:
    harmonics = ", ".join(f"{k:+d}" if k else "0" for k in ghost.harmonics)
    several = "harmonics" if len(ghost.harmonics) > 1 else "harmonic"
    return (
        f"a ghost of {_nm(band)} in order {ghost.order} lies here, caused by a periodic error of "
        f"the ruling ({several} {harmonics}; {ghost.observed:.2g} of the line)"
    )


def _broken(found: PlatePoint, band: Remaining) -> bool:
    """Whether an order of the band's light belongs at the point, and errors have taken it."""
    order = round(band.path_difference)
    off = abs(band.path_difference - order)
    aperture = found.scene.aperture
    errors = isinstance(aperture, Ruled) and bool(aperture.defects)
    return errors and order != 0 and off <= _reach(found, band)


def _grooves(found: PlatePoint, held: Sequence[Remaining]) -> list[str]:
    """Of a narrow band: the part of the light of the groove's brightest direction."""
    if found.ruling is None or len(held) != 1 or held[0].hi_m - held[0].lo_m > _BESIDE_M:
        return []
    band, every = held[0], np.arange(-1000, 1001) / 200.0
    here = float(found.ruling.efficiency(band.path_difference, band.strongest_m))
    most = float(np.max(found.ruling.efficiency(every, band.strongest_m)))
    if not 0 < here < _WEAK * most:
        return []
    noun = {"slits": "slit", "wires": "gap"}.get(found.scene.aperture.kind, "groove")
    return [
        f"the single {noun} sends little light there ({here / most:.2g} of that in its "
        "brightest direction)"
    ]


def _dark_lines(found: PlatePoint, held: Sequence[Remaining]) -> list[str]:
    """The Sun's dark line in which a fine band lies."""
    source, spectrum = found.scene.source, found.spectrum
    fine = [band for band in held if band.hi_m - band.lo_m <= _FINE_M + 2 * spectrum.step_m]
    if not (isinstance(source, Sun) and source.lines and fine):
        return []
    texts = []
    for band in fine:
        off = np.abs(spectrum.wavelength_m - band.strongest_m)
        inside = (spectrum.wavelength_m >= band.lo_m) & (spectrum.wavelength_m <= band.hi_m)
        part = float(found.sent[inside].mean() / found.sent[off <= _BESIDE_M].max())
        if part < _DARK_LINE:
            darkest_m = float(spectrum.wavelength_m[inside][np.argmin(found.sent[inside])])
            line = f"a dark line of the Sun at {darkest_m * 1e9:.2f} nm"
            texts.append(f"{line} leaves {100 * part:.0f} % of the light")
    return texts


def _rim(found: PlatePoint) -> list[str]:
    if found.ruling is None or found.scene.bench.camera_lens is None:
        return []
    part = rulings_through_lens(found.scene, found.beta_rad, found.ruling.bare.span_m)
    if part >= _THROUGH:
        return []
    return [
        f"the rim of the camera lens passes the light of {100 * part:.0f} % of the rulings only"
    ]


def _nm(band: Remaining) -> str:
    return f"{band.mixing_m * 1e9:.1f} nm"
