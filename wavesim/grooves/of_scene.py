"""The grooved surface that a scene describes, and its curves of efficiency, kept between runs.

The scene's x and that of this room run against each other, so that light with alpha > 0 has
k_x > 0 here. In transmission the light comes through the flat face of the grating and leaves by
the grooves; what the flat face reflects is taken off, and light that goes to and fro within the
grating is left out. Wavelengths and indices are those in air.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from wavesim import disk_cache, tables
from wavesim.arrays import Complexes, Floats
from wavesim.errors import LimitError, TableError
from wavesim.grooves.anomalies import predicted_anomalies
from wavesim.grooves.curves import EfficiencyCurve, Path, curve
from wavesim.grooves.efficiency import all_orders, waves_for
from wavesim.grooves.encoding import decoded, encoded, width
from wavesim.grooves.materials import OpticalMaterial, constant, read, shipped
from wavesim.grooves.profiles import (
    Blazed,
    GrooveProfile,
    Lamellar,
    MeasuredProfile,
    Sinusoidal,
    Staircase,
    Trapezoidal,
)
from wavesim.grooves.surface import Surface
from wavesim.light import air
from wavesim.scene import Scene
from wavesim.scene.aperture import Grating
from wavesim.scene.groove import (
    BinaryGroove,
    BlazedGroove,
    MultilevelGroove,
    SinusoidalGroove,
    TableGroove,
    TrapezoidalGroove,
)

_SAME_M = 1e-12  # narrower ranges are widened so far to have a middle


@dataclass(frozen=True, eq=False)
class Mounted:
    """A scene's grooves and how the light meets them.

    Attributes
    ----------
    surface : indices and wavelengths as in air
    transmission : whether the light comes through the flat face
    sine_in : sin(alpha) cos(conical angle), outside
    sine_along : sin(conical angle): of the light to the plane across the grooves
    material : of the grooves, in words with its source
    """

    surface: Surface
    transmission: bool
    sine_in: float
    material: str
    sine_along: float = 0.0

    def path(self) -> Path:
        """Over the wavelength at the scene's incidence."""
        return Path(
            lambda x: x,
            lambda x: self.sine_inside(x, np.full_like(x, self.sine_in)),
            self.sine_along,
        )

    def conical(self, angle_rad: float) -> Mounted:
        """The same with the light at an angle to the plane across the grooves.

        alpha is that of the light's projection onto this plane, so that
        d cos(conical angle) (sin alpha + sin beta) = m lambda.

        Raises
        ------
        LimitError
            In transmission: the flat face mixes the polarisations, which is not followed.
        """
        if angle_rad and self.transmission:
            raise LimitError(
                "cannot be computed for gratings in transmission",
                key="--conical",
                value=f"{math.degrees(angle_rad):.6g} deg",
                expected='mounting = "reflection", or 0 deg',
            )
        cosine, sine = math.cos(angle_rad), math.sin(angle_rad)
        return replace(self, sine_in=self.sine_in * cosine, sine_along=sine)

    def sine_inside(self, wavelength_m: Floats, sine: Floats) -> Floats:
        """Sine of the incidence in the medium above the grooves."""
        return np.asarray(sine / self.surface.above.at(wavelength_m).real)

    def entrance(self, wavelength_m: Floats, sine: Floats) -> Floats:
        """(2, n) part that the flat face passes (Fresnel), E along and across the grooves."""
        if not self.transmission:
            return np.ones((2, np.size(wavelength_m)))
        n = self.surface.above.at(wavelength_m).real
        outside, inside = np.sqrt(1 - sine**2), np.sqrt(1 - (sine / n) ** 2)
        along = (outside - n * inside) / (outside + n * inside)
        across = (n * outside - inside) / (n * outside + inside)
        return np.stack([1 - along**2, 1 - across**2])


def mounted(scene: Scene) -> Mounted:
    """The surface of a scene's grating.

    Raises
    ------
    LimitError
        The scene has no grating, or one of slits.
    TableError
        A table of a profile or of optical constants cannot be read.
    """
    grating = scene.aperture
    if not isinstance(grating, Grating) or grating.slit_width_m is not None:
        raise LimitError(
            "has no grooves whose efficiency could be computed",
            key="aperture",
            value=scene.aperture.kind,
            expected='kind = "grating" with a groove that is not a slit',
        )
    pitch = grating.mean_pitch_m
    transmission = grating.mounting == "transmission"
    given = _material(grating, scene)
    profile = _profile(grating, scene, -1.0 if transmission else 1.0)
    sine = math.sin(scene.bench.alpha_rad)
    if transmission:
        glass = given or constant(getattr(grating.groove, "index", 1.5))
        if glass.metallic:
            raise LimitError(
                "absorbs and cannot be used in transmission",
                key="aperture.material",
                value=glass.name,
                expected='a transparent material, or mounting = "reflection"',
            )
        above = replace(glass, index=np.asarray(glass.index.real, dtype=np.complex128))
        surface = Surface(profile, pitch, constant(1.0, "air"), above=above)
        return Mounted(surface, True, sine, _named(glass))
    coating: tuple[tuple[OpticalMaterial, float], ...] = ()
    if grating.coating is not None:
        coating = ((in_air(shipped(grating.coating.material)), grating.coating.thickness_m),)
    surface = Surface(profile, pitch, given, coating=coating)
    text = "perfect conductor" if given is None else _named(given)
    if coating:
        text += f", coated with {coating[0][1] * 1e9:.4g} nm of {coating[0][0].name}"
    return Mounted(surface, False, sine, text)


def in_air(material: OpticalMaterial) -> OpticalMaterial:
    """Index relative to air, over the wavelength in air."""
    if material.wavelength_m.size == 0:
        return material
    inside = np.clip(material.wavelength_m, 0.3e-6, 1.69e-6)
    index = air.index(inside)
    relative: Complexes = np.array(material.index)
    relative /= index
    return replace(material, wavelength_m=material.wavelength_m / index, index=relative)


def _named(material: OpticalMaterial) -> str:
    author = re.match(r"([^,]+),", material.source)
    year = re.search(r"\((\d{4})\)", material.source)
    if author is None or year is None:
        return material.name
    return f"{material.name} ({author[1]} {year[1]})"


def _material(grating: Grating, scene: Scene) -> OpticalMaterial | None:
    if grating.material_file is not None:
        return in_air(read(scene.folder / grating.material_file))
    return None if grating.material is None else in_air(shipped(grating.material))


def _profile(grating: Grating, scene: Scene, sign: float) -> GrooveProfile:
    """The profile as the light meets it: turned over in transmission, x reversed in both."""
    groove, pitch = grating.groove, grating.mean_pitch_m
    if isinstance(groove, BlazedGroove):
        facet = groove.facet_angle_rad
        back = groove.back_angle_rad or math.pi / 2 - abs(facet)
        return Blazed(facet, back, pitch)
    if isinstance(groove, SinusoidalGroove):
        return Sinusoidal(groove.depth_m)
    if isinstance(groove, BinaryGroove):
        return Lamellar(groove.depth_m, groove.duty if sign > 0 else 1 - groove.duty)
    if isinstance(groove, TrapezoidalGroove):
        flats = (groove.top, groove.bottom) if sign > 0 else (groove.bottom, groove.top)
        return Trapezoidal(groove.depth_m, *flats)
    if isinstance(groove, MultilevelGroove):
        return Staircase(tuple(np.linspace(0.0, groove.depth_m, groove.levels)))
    if isinstance(groove, TableGroove):
        position, height = _heights(scene, groove.file, pitch)
        return MeasuredProfile(pitch - position[::-1], sign * height[::-1])
    raise TypeError("a slit groove is an opening, not a relief")


def _heights(scene: Scene, name: str, pitch: float) -> tuple[Floats, Floats]:
    """A table of position [um] and height [nm], checked as scalar theory checks it."""
    path = scene.folder / name
    table = tables.read(path, empty="is empty", expected="place_um,height_nm", separators=",")
    values = table.pairs("is not a row of two numbers")
    table.check_finite(values)
    units = [tables.LENGTHS_M.get(head.rpartition("_")[2], math.nan) for head in table.header[:2]]
    position, height = values[:, 0] * units[0], values[:, 1] * units[1]
    if not abs(height[0] - height[-1]) <= 1e-3 * pitch:
        raise TableError(
            "ends at a different height from its beginning, which would be a vertical wall",
            file=path,
            value=f"{height[0] * 1e9:.6g} and {height[-1] * 1e9:.6g} nm",
            expected="the same height at both ends of the period",
        )
    height[-1] = height[0]
    return position * (pitch / position[-1]), height


def rayleigh(mount: Mounted, lo_m: float, hi_m: float) -> Floats:
    """Wavelengths at which an order passes off in air or in the grating, ascending [m]."""
    found: list[float] = []
    path, pitch = mount.path(), mount.surface.pitch_m

    def grating(x: Floats) -> tuple[Floats, Floats]:
        inside = path.sine_in(x) * mount.surface.above.at(x).real
        return x / pitch, inside

    def limit(medium: OpticalMaterial, x: Floats) -> Floats:
        return np.asarray(np.sqrt(medium.at(x).real ** 2 - mount.sine_along**2))

    for medium in (mount.surface.above, mount.surface.below):
        if medium is None or medium.metallic:
            continue
        reach = partial(limit, medium)
        anomalies = predicted_anomalies("passing off", lo_m, hi_m, grating, reach)
        found += [anomaly.position for anomaly in anomalies]
    return np.unique(found)


def wavelength_curve(
    mount: Mounted, lo_m: float, hi_m: float, tolerance: float = 1e-3
) -> EfficiencyCurve:
    """Efficiencies over the wavelength in air, from the cache if they were computed before."""
    if hi_m - lo_m < 2 * _SAME_M:
        lo_m, hi_m = lo_m - _SAME_M, hi_m + _SAME_M
    for material in _materials(mount.surface):
        material.check_covers(lo_m, hi_m)
    inner = rayleigh(mount, lo_m, hi_m)
    breaks = np.unique(np.concatenate([[lo_m], inner, [hi_m]]))
    close = np.flatnonzero(np.diff(breaks) < _SAME_M)
    breaks = np.delete(breaks, close[close > 0])
    path = mount.path()
    waves = waves_for(mount.surface, breaks, path.sine_in(breaks), path.sine_along)
    orders = all_orders(mount.surface, breaks, waves).size
    settings = (
        repr(mount.surface.profile),
        _plain(mount),
        mount.sine_in,
        mount.sine_along,
        mount.transmission,
        tolerance,
    )
    stored = disk_cache.grid(
        np.concatenate([breaks, *(_table(m) for m in _materials(mount.surface))]),
        settings,
        lambda: encoded(curve(mount.surface, path, breaks, tolerance=tolerance)),
        (None, width(orders)),
        what="grooves",
        room="grooves",
    )
    return decoded(stored)


def _materials(surface: Surface) -> list[OpticalMaterial]:
    media = [surface.above, *(material for material, _ in surface.coating)]
    return media if surface.below is None else [*media, surface.below]


def _table(material: OpticalMaterial) -> Floats:
    return np.concatenate([material.wavelength_m, material.index.real, material.index.imag])


def _plain(mount: Mounted) -> str:
    """What the digest of the tables does not hold."""
    surface = mount.surface
    parts = [f"{surface.pitch_m!r}", f"{surface.below is None}"]
    parts += [f"{m.name} {thickness!r}" for m, thickness in surface.coating]
    if isinstance(surface.profile, MeasuredProfile):
        parts += [
            surface.profile.position_m.tobytes().hex(),
            surface.profile.height_m.tobytes().hex(),
        ]
    return " ".join(parts)
