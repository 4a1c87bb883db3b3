"""Efficiency of a grating's orders by rigorous theory, beside the scalar one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from wavesim.aperture.build import scalar_groove
from wavesim.aperture.elements import Rays
from wavesim.arrays import Floats
from wavesim.errors import LimitError
from wavesim.grating_equation import sine_of_order
from wavesim.grooves.anomalies import Kind, PredictedAnomaly, predicted_anomalies
from wavesim.grooves.curves import EfficiencyCurve, Path, curve
from wavesim.grooves.of_scene import Mounted, mounted, wavelength_curve
from wavesim.scene import Scene
from wavesim.scene.aperture import Grating
from wavesim.study.efficiency.peaks import POINTS, absorption_peaks, peak_of
from wavesim.study.efficiency.result import Anomaly, Efficiency, OrderEfficiency, Peak

__all__ = ["Anomaly", "Efficiency", "OrderEfficiency", "Peak", "efficiency"]

_FROM_M, _TO_M = 380e-9, 780e-9
_STEEPEST_RAD = math.radians(89)


def efficiency(
    scene: Scene,
    *,
    orders: Sequence[int] = (),
    from_m: float = _FROM_M,
    to_m: float = _TO_M,
    wavelength_m: float | None = None,
    turn_rad: tuple[float, float] | None = None,
    conical_rad: float = 0.0,
    points: int = 401,
    tolerance: float = 1e-3,
) -> Efficiency:
    """Efficiency of a grating's orders over wavelength, or over its turn at one wavelength.

    Parameters
    ----------
    orders : m; default all that leave anywhere, the brightest six
    from_m, to_m : range of wavelengths in air, at the scene's incidence
    wavelength_m, turn_rad : one wavelength, and the range of the turn: of the grating between
        fixed collimator and camera where the scene gives an included angle, else of alpha
    conical_rad : angle of the light to the plane across the grooves (conical mounting); alpha and
        beta are those of the projections onto that plane, and "along" is the electric field in
        the plane of the ray and the grooves
    points : positions of the curves handed back
    tolerance : of truncation, and of interpolation

    Raises
    ------
    LimitError
        No grooves, a range that is none, or a material's table that does not cover it.
    ComputationError
        The groove is deeper than the theory converges for.
    """
    mount = mounted(scene).conical(conical_rad)
    if wavelength_m is None:
        _check_range(from_m, to_m, "wavelengths")
        x = np.linspace(from_m, to_m, points)
        path, found = mount.path(), wavelength_curve(mount, from_m, to_m, tolerance)
    else:
        low, high = turn_rad or (-math.pi / 4, math.pi / 4)
        low, high = _turns(scene, low, high)
        x = np.linspace(low, high, points)
        path = _turning(scene, mount, wavelength_m)
        predicted = [p.position for p in _passing(mount, path, x)]
        breaks = np.unique([low, *predicted, high])
        found = curve(mount.surface, path, breaks, tolerance=tolerance)
    return _described(scene, mount, path, found, x, orders, over_turn=wavelength_m is not None)


def _check_range(low: float, high: float, what: str) -> None:
    if not low < high:
        raise LimitError(
            f"the range of {what} ends before it begins",
            value=f"{low:.6g} to {high:.6g}",
            expected="--from below --to",
        )


def _half_angle(scene: Scene) -> float:
    return (scene.bench.included_angle_rad or 0.0) / 2


def _turns(scene: Scene, low: float, high: float) -> tuple[float, float]:
    """The range as far as the light falls on the grooves' side."""
    half = _half_angle(scene)
    low, high = max(low, -_STEEPEST_RAD - half), min(high, _STEEPEST_RAD - half)
    _check_range(low, high, "turns")
    return low, high


def _turning(scene: Scene, mount: Mounted, wavelength_m: float) -> Path:
    half = _half_angle(scene)

    def wavelength(x: Floats) -> Floats:
        return np.full_like(x, wavelength_m)

    cosine = math.sqrt(1 - mount.sine_along**2)
    return Path(
        wavelength,
        lambda x: mount.sine_inside(wavelength(x), cosine * np.sin(x + half)),
        mount.sine_along,
    )


def _passing(mount: Mounted, path: Path, x: Floats) -> list[PredictedAnomaly]:
    """Positions where an order passes off, in air or in a transparent grating."""
    grating = _grating(mount, path)
    low, high = float(x[0]), float(x[-1])
    along = mount.sine_along**2
    found = predicted_anomalies(
        "passing off", low, high, grating, lambda x: np.full_like(x, (1 - along) ** 0.5)
    )
    glass = mount.surface.above if mount.transmission else mount.surface.below
    if glass is not None and not glass.metallic:
        kind: Kind = "passing off in the substrate"

        def limit(at_x: Floats) -> Floats:
            return np.asarray(np.sqrt(glass.at(path.vacuum_m(at_x)).real ** 2 - along))

        found += predicted_anomalies(kind, low, high, grating, limit)
    return found


def _grating(mount: Mounted, path: Path):  # type: ignore[no-untyped-def]
    """x -> (lambda / d, sin alpha) in air."""

    def wavelength_and_sine(x: Floats) -> tuple[Floats, Floats]:
        wavelength = path.vacuum_m(x)
        outside = path.sine_in(x) * mount.surface.above.at(wavelength).real
        return wavelength / mount.surface.pitch_m, outside

    return wavelength_and_sine


def _plasmons(mount: Mounted, path: Path, x: Floats) -> list[PredictedAnomaly]:
    """Positions where a metal surface's plasmon is expected."""
    metal = mount.surface.below
    if metal is None or not metal.metallic or mount.surface.coating:
        return []

    def limit(at_x: Floats) -> Floats:
        eps = metal.at(path.vacuum_m(at_x)) ** 2
        index = np.sqrt(eps / (1 + eps) - mount.sine_along**2).real
        return np.where(eps.real < -1, index, np.nan)

    return predicted_anomalies(
        "surface plasmon", float(x[0]), float(x[-1]), _grating(mount, path), limit
    )


def _described(
    scene: Scene,
    mount: Mounted,
    path: Path,
    found: EfficiencyCurve,
    x: Floats,
    orders: Sequence[int],
    *,
    over_turn: bool,
) -> Efficiency:
    wavelength = path.vacuum_m(x)
    outside = _grating(mount, path)(x)[1]
    up, down, absorbed = found.at(x)
    both = (down if mount.transmission else up) * mount.entrance(wavelength, outside)[:, :, None]
    leaves = np.flatnonzero(both.max(axis=(0, 1)) > 0)
    known = {int(found.order[k]): both[:, :, k] for k in leaves}
    bright = sorted(known, key=lambda m: -float(known[m].mean()))[:6]
    chosen = list(orders) or sorted(bright)
    for m in chosen:
        if m not in known:
            raise LimitError(
                "does not propagate anywhere in this range",
                key="order",
                value=m,
                expected=f"one of {', '.join(map(str, sorted(known)))}",
            )
    side = "transmitted" if mount.transmission else "reflected"
    listed = tuple(
        OrderEfficiency(
            m, side, known[m][0], known[m][1], _scalar(scene, mount, wavelength, outside, m)
        )
        for m in chosen
    )
    fine = np.linspace(x[0], x[-1], POINTS)
    curves, absorbed_fine = _unpolarised(mount, path, found, fine)
    error = float(found.error.max()) + found.sampling_error
    anomalies = _joined(_passing(mount, path, x) + _plasmons(mount, path, x))
    if not over_turn and anomalies:
        predicted = np.array([a.predicted for a in anomalies])
        peaks = absorption_peaks(fine, absorbed_fine[1], predicted, error)
        anomalies = [replace(a, found=peak) for a, peak in zip(anomalies, peaks, strict=True)]
    return Efficiency(
        title=scene.title,
        over="turn" if over_turn else "wavelength",
        x=x,
        wavelength_m=wavelength,
        orders=listed,
        absorbed=absorbed,
        anomalies=tuple(anomalies),
        peaks=tuple(peak_of(m, fine, curves[m], error) for m in chosen),
        material=mount.material,
        error=(float(found.error[0]), float(found.error[1])),
        sampling_error=found.sampling_error,
        balance=found.balance,
        functions=found.functions,
        computed=found.computed,
    )


def _joined(found: list[PredictedAnomaly]) -> list[Anomaly]:
    """Anomalies by position, those of one kind at one position (orders m and -m) as one."""
    made: list[Anomaly] = []
    for anomaly in sorted(found, key=lambda p: (p.position, p.kind, p.order)):
        same = next((a for a in made if a.kind == anomaly.kind and _equal(a, anomaly)), None)
        if same is None:
            made.append(Anomaly((anomaly.order,), anomaly.kind, anomaly.position, None))
        else:
            orders = tuple(sorted({*same.orders, anomaly.order}))
            made[made.index(same)] = replace(same, orders=orders)
    return made


def _equal(anomaly: Anomaly, other: PredictedAnomaly) -> bool:
    return math.isclose(anomaly.predicted, other.position, rel_tol=1e-9, abs_tol=1e-12)


def _unpolarised(
    mount: Mounted, path: Path, found: EfficiencyCurve, x: Floats
) -> tuple[dict[int, Floats], Floats]:
    """Efficiency (n,) of each order for unpolarised light, and what is absorbed (2, n)."""
    outside = _grating(mount, path)(x)[1]
    up, down, absorbed = found.at(x)
    entrance = mount.entrance(path.vacuum_m(x), outside)[:, :, None]
    both = (down if mount.transmission else up) * entrance
    mean = both.mean(axis=0)
    return {int(m): mean[:, k] for k, m in enumerate(found.order)}, absorbed


def _scalar(scene: Scene, mount: Mounted, wavelength: Floats, sine_in: Floats, m: int) -> Floats:
    """|E|^2 / d^2 of the thin relief at a whole order, times the flat surface's part."""
    grating = scene.aperture
    assert isinstance(grating, Grating)
    bare = grating.model_copy(update={"reflectance": 1.0, "reflectance_file": None})
    element = scalar_groove(bare, scene.folder)
    pitch, cosine = mount.surface.pitch_m, math.sqrt(1 - mount.sine_along**2)
    # to scalar theory conical light is light of a longer wavelength in the plane of alpha
    sine_alpha, projected = sine_in / cosine, wavelength / cosine
    sine_out = sine_of_order(m, projected, pitch_m=pitch, sine_in=sine_alpha)
    total = np.zeros(wavelength.size)
    for k in np.flatnonzero(np.abs(sine_out) < 1):
        rays = Rays(float(sine_alpha[k]), sine_out[k : k + 1], float(projected[k]))
        total[k] = float(np.abs(element.amplitude(rays)[0]) ** 2) / pitch**2
    return total * _flat(mount, wavelength, sine_in)


def _flat(mount: Mounted, wavelength: Floats, sine_in: Floats) -> Floats:
    """(n,) what a flat surface reflects, or passes, of unpolarised light (Fresnel)."""
    below, above = mount.surface.below, mount.surface.above.at(wavelength).real
    if below is None:
        return np.ones(wavelength.size)
    squared = sine_in**2 + mount.sine_along**2  # of the whole angle of incidence
    first = np.sqrt(1 - squared / above**2 + 0j) * above
    eps = below.at(wavelength) ** 2
    second = np.sqrt(eps - squared + 0j)
    along = np.abs((first - second) / (first + second)) ** 2
    ratio = eps / above**2
    across = np.abs((ratio * first - second) / (ratio * first + second)) ** 2
    reflected = (along + across) / 2
    if not mount.transmission:
        return np.asarray(reflected)
    return np.asarray((1 - reflected) * mount.entrance(wavelength, sine_in).mean(axis=0))
