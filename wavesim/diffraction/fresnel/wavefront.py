"""The near field as a path over the aperture: curvature of the waves and errors of the lens.

Between a source at the distance s and a plate at z the waves meet the aperture with the path

    w(x, y) = k_x x^2 / 2 + k_y y^2 / 2 + (errors of the lens),
    k_x = cos^2(alpha) / s + cos^2(beta) / z,   k_y = 1 / s + 1 / z,

in Fresnel's approximation; a lens of focal length f in front of a plate at f + defocus gives
1 / (f + defocus) - 1 / f in place of 1 / z. Lenses whose focus changes with the colour add their
power there less that at which they are sharp, the collimator's times cos^2(alpha) along x, the
camera's times cos^2(beta). The far field of t(x, y) exp(2 pi i w / lambda) is
then the field on the plate. Goodman, Introduction to Fourier Optics, section 4.2 and 5.3.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from wavesim.arrays import Floats
from wavesim.scene import Aberrations, Bench, Lens

HOLDS = 0.05  # Fresnel number up to which the far field is right to 0.3 % on the axis
_PER_ZONE = 6.0  # wavelengths while the Fresnel number changes by one
_LEAST = 1e-7  # Fresnel number below which the waves count as plane
_VISIBLE = np.linspace(360e-9, 830e-9, 95)


@dataclass(frozen=True)
class LensColour:
    """What the colours of a lens add to the path over the aperture.

    Attributes
    ----------
    lens : how its focal length changes
    focal_m : [m] where it is sharp
    squeezed : cos^2 of the angle at which its light meets or leaves the aperture
    """

    lens: Lens
    focal_m: float
    squeezed: float

    def curvature_per_m(self, wavelength_m: Floats | float) -> Floats:
        """1 / f where it is sharp less 1 / f at wavelengths [m], along y."""
        return np.asarray((1 - 1 / self.lens.focal_ratio(wavelength_m)) / self.focal_m)


@dataclass(frozen=True)
class Wavefront:
    """Path over the aperture.

    Attributes
    ----------
    curvature_x_per_m, curvature_y_per_m : [1/m] of the waves, source and plate together
    aberrations : errors of the camera lens, or None
    radius_m : [m] pupil radius at which they hold
    colours : of the lenses, which change the curvature with the wavelength
    turned_plate : whether the curvature is that of the axis alone, and changes over the plate
    """

    curvature_x_per_m: float
    curvature_y_per_m: float
    aberrations: Aberrations | None = None
    radius_m: float = 1.0
    colours: tuple[LensColour, ...] = ()
    turned_plate: bool = False

    def at(self, wavelength_m: float) -> Wavefront:
        """The path at one wavelength [m]."""
        if not self.colours:
            return self
        x, y = (float(k) for k in self._curvatures(wavelength_m))
        return replace(self, curvature_x_per_m=x, curvature_y_per_m=y, colours=())

    @property
    def most_bent(self) -> Wavefront:
        """The path at the visible wavelength where it is bent most."""
        if not self.colours:
            return self
        bent = np.maximum(*(np.abs(k) for k in self._curvatures(_VISIBLE)))
        return self.at(float(_VISIBLE[int(np.argmax(bent))]))

    def turned(self) -> Wavefront:
        """The curvature along y in place of that along x, without errors of the lens."""
        colours = tuple(replace(c, squeezed=1.0) for c in self.colours)
        return Wavefront(self.curvature_y_per_m, self.curvature_x_per_m, colours=colours)

    def bent_by(self, vergence_per_m: float, squeezed: float) -> Wavefront:
        """With so much more curvature [1/m] behind the aperture."""
        return replace(
            self,
            curvature_x_per_m=self.curvature_x_per_m + vergence_per_m * squeezed,
            curvature_y_per_m=self.curvature_y_per_m + vergence_per_m,
        )

    def _curvatures(self, wavelength_m: Floats | float) -> tuple[Floats, Floats]:
        """Along x and y [1/m] at wavelengths of any shape."""
        added = [(c.squeezed, c.curvature_per_m(wavelength_m)) for c in self.colours]
        x = self.curvature_x_per_m + sum((s * k for s, k in added), start=np.asarray(0.0))
        y = self.curvature_y_per_m + sum((k for _, k in added), start=np.asarray(0.0))
        return x, y

    @property
    def plane(self) -> bool:
        """Whether the path is the same everywhere: the far field."""
        return (
            self.curvature_x_per_m == 0.0
            and self.curvature_y_per_m == 0.0
            and self.aberrations is None
            and not self.colours
        )

    def path_m(self, x_m: Floats, y_m: Floats) -> Floats:
        """w [m] at positions of any shapes that broadcast, where lenses have no colours."""
        bent = (self.curvature_x_per_m * x_m**2 + self.curvature_y_per_m * y_m**2) / 2
        if self.aberrations is None:
            return np.asarray(bent)
        return np.asarray(bent + lens_error_m(self.aberrations, x_m, y_m, self.radius_m))

    def slope(self, half_x_m: float, half_y_m: float) -> float:
        """Largest |grad w| over the rectangle of those half widths."""
        side = np.linspace(-1.0, 1.0, 65)
        w = self.most_bent.path_m(half_x_m * side[None, :], half_y_m * side[:, None])
        along = np.abs(np.diff(w, axis=1)).max() / (half_x_m / 32)
        across = np.abs(np.diff(w, axis=0)).max() / (half_y_m / 32)
        return float(math.hypot(along, across))

    def fresnel_number(self, half_m: float, wavelength_m: float) -> float:
        """N_F = a^2 k / lambda for the half width or radius a."""
        front = self.at(wavelength_m)
        bend = max(abs(front.curvature_x_per_m), abs(front.curvature_y_per_m))
        return half_m * half_m * bend / wavelength_m

    def zone_step(self, half_m: float) -> float:
        """Relative step of the wavelength while N_F changes by a sixth: at 550 nm, or where lenses
        with colours change it most."""
        number = self.fresnel_number(half_m, 550e-9)
        if self.colours:
            steps = np.log(_VISIBLE[1:] / _VISIBLE[:-1])
            both = (half_m**2 * k / _VISIBLE for k in self._curvatures(_VISIBLE))
            number = max(float(np.abs(np.diff(n) / steps).max()) for n in both)
        return 1 / (_PER_ZONE * max(number, 1e-9))


def lens_error_m(errors: Aberrations, x_m: Floats, y_m: Floats, radius_m: float) -> Floats:
    """Seidel path [m]: spherical r^4 + coma r^3 cos(t - tc) + astigmatism r^2 cos^2(t - ta)."""
    x, y = np.asarray(x_m) / radius_m, np.asarray(y_m) / radius_m
    r2 = x * x + y * y
    c, s = math.cos(errors.coma_angle_rad), math.sin(errors.coma_angle_rad)
    a, b = math.cos(errors.astigmatism_angle_rad), math.sin(errors.astigmatism_angle_rad)
    return np.asarray(
        errors.spherical_m * r2 * r2
        + errors.coma_m * r2 * (x * c + y * s)
        + errors.astigmatism_m * (x * a + y * b) ** 2
    )


def wavefront(bench: Bench, half_m: float) -> Wavefront:
    """Path of a bench over an aperture of that half width [m]."""
    k_x = k_y = 0.0
    if bench.source_distance_m is not None:
        k_y += 1 / bench.source_distance_m
        k_x += math.cos(bench.alpha_rad) ** 2 / bench.source_distance_m
    if bench.plate_distance_m is not None:
        behind = 1 / bench.plate_distance_m
    else:
        focal = bench.camera_focal_m
        behind = 1 / (focal + bench.defocus_m) - 1 / focal
    k_y += behind
    k_x += behind * math.cos(bench.camera_axis_rad) ** 2
    if half_m * half_m * max(abs(k_x), abs(k_y)) < _LEAST * 500e-9:
        k_x = k_y = 0.0
    errors = bench.lens_errors
    colours = _colours(bench)
    radius = half_m if bench.beam is None else bench.beam.diameter_m / 2
    if errors is not None and errors.radius_m is not None:
        radius = errors.radius_m
    return Wavefront(k_x, k_y, errors, radius, colours, turned_plate=bench.plate_turned)


def _colours(bench: Bench) -> tuple[LensColour, ...]:
    """Of the collimator and the camera lens, where they have any."""
    both = (
        (bench.collimator_lens, bench.collimator_m, bench.alpha_rad),
        (bench.camera_lens, bench.camera_m, bench.camera_axis_rad),
    )
    return tuple(
        LensColour(lens, focal, math.cos(angle) ** 2)
        for lens, focal, angle in both
        if lens is not None and lens.coloured and focal is not None
    )


def largest_slope(bench: Bench) -> Callable[[float, float], float]:
    """Largest slope of the path over half widths x and y [m]."""
    return lambda half_x_m, half_y_m: wavefront(bench, half_x_m).slope(half_x_m, half_y_m)


def far_field_note(front: Wavefront, half_m: float) -> str:
    """One sentence: the Fresnel number at 550 nm, and whether the far field holds.

    On the axis of a slit of half width a the far field's light is too bright by
    4 (pi N_F)^2 / 45 (Goodman 4.2): 0.25 % at N_F = 0.05 beside the slit's own size.
    """
    number = front.fresnel_number(half_m, 550e-9)
    if front.turned_plate:
        where = "the far field holds only where the turned plate crosses the focal plane"
        return f"Fresnel number {number:.3g} on the camera's axis: {where}"
    if front.plane:
        return (
            "Fresnel number 0: the lenses put source and plate at infinity, so the far field holds"
        )
    size = f"Fresnel number {number:.3g} at 550 nm for the half width {half_m * 1e3:.3g} mm"
    if front.colours:
        return f"{size}: the focus depends on the wavelength; the far field holds where it is sharp"
    if front.aberrations is not None:
        return (
            f"{size}: computed with the aberrations of the lens; the textbook far field does "
            "not apply"
        )
    if number <= HOLDS:
        return f"{size}: computed as near field, although the far field holds"
    if number <= 1.0:
        return f"{size}: near field; the far field does not hold"
    return f"{size}: near field, close to the geometric shadow"
