"""A groove whose efficiency in each order is that of rigorous theory.

At order m and wavelength lambda the envelope's power is  |E|^2 = d^2 eta_m(lambda), eta the
efficiency of the order for the scene's polarisation. Between orders m and m + 1 (wings of lines,
ghosts, diffuse light) it goes from one to the other as cos^2(pi t / 2), t = u d - m, which is flat
at either order: ghosts beside an order have its own efficiency, so their ratio to the line is
that of the positions alone. The phase of a single kind of groove has no effect and is zero.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wavesim import light
from wavesim.aperture.elements import Rays
from wavesim.arrays import Complexes, Floats
from wavesim.errors import LimitError
from wavesim.grooves.of_scene import Mounted, mounted, wavelength_curve
from wavesim.scene import Scene

_STEP_M = 0.1e-9  # of the table: the narrowest anomalies are some nanometres wide
_TOLERANCE = 2e-3  # of the incident power: 0.3 % of a bright order


@dataclass(frozen=True, eq=False)
class RigorousGroove:
    """Efficiency of each order over wavelength.

    Attributes
    ----------
    pitch_m : d [m]
    first : lowest order of the table
    wavelength_m : (n,) in air, ascending [m]
    power : (n, orders) efficiency for the light's polarisation
    relief_m : [m] half the depth
    theory : a sentence about polarisation, material and errors
    """

    pitch_m: float
    first: int
    wavelength_m: Floats
    power: Floats
    relief_m: float
    theory: str

    @property
    def width_m(self) -> float:
        """The pitch [m]."""
        return self.pitch_m

    @property
    def open_width_m(self) -> float:
        """Pitch times the mean of all light that leaves [m]."""
        return self.pitch_m * float(self.power.sum(axis=1).mean())

    @property
    def of_u_alone(self) -> bool:
        """Never: efficiencies go with the wavelength."""
        return False

    def amplitude(self, rays: Rays) -> Complexes:
        """d sqrt(efficiency) [m], between orders as the head of the module says."""
        order = rays.u * self.pitch_m
        below = np.floor(order)
        upper_weight = np.sin(np.pi / 2 * (order - below)) ** 2
        wavelength = np.broadcast_to(rays.wavelength_m, order.shape)
        power = np.zeros(order.shape)
        for k in range(self.power.shape[1]):
            lower, upper = below == self.first + k, below == self.first + k - 1
            weight = np.where(lower, 1 - upper_weight, np.where(upper, upper_weight, 0.0))
            mine = weight > 0
            order_power = np.interp(wavelength[mine], self.wavelength_m, self.power[:, k])
            power[mine] += weight[mine] * order_power
        return np.asarray(self.pitch_m * np.sqrt(power) + 0j)


def rigorous_groove(scene: Scene) -> RigorousGroove:
    """The element of a scene's grating.

    Raises
    ------
    LimitError
        The material's table does not cover the light, or the profile cannot be treated.
    ComputationError
        The groove is deeper than the theory converges for.
    """
    spectrum = light.of_scene(scene)
    lo, hi = float(spectrum.lo_m.min()), float(spectrum.hi_m.max())
    mount = mounted(scene)
    if mount.surface.profile.depth_m > 2 * mount.surface.pitch_m:
        raise LimitError(
            "is too deep for rigorous theory to converge",
            key="aperture.groove",
            value=f"{mount.surface.profile.depth_m * 1e9:.4g} nm",
            expected='at most two pitches, or theory = "scalar"',
        )
    found = wavelength_curve(mount, lo, hi, _TOLERANCE)
    grid = np.linspace(lo, hi, 2 + int((hi - lo) / _STEP_M))
    up, down, _ = found.at(grid)
    both = (down if mount.transmission else up) * _entered(mount, grid)[:, :, None]
    along = scene.source.field_along
    power = along * both[0] + (1 - along) * both[1]
    return RigorousGroove(
        pitch_m=mount.surface.pitch_m,
        first=int(found.order[0]),
        wavelength_m=grid,
        power=power,
        relief_m=mount.surface.profile.depth_m / 2,
        theory=_sentence(mount, along, float(found.error.max()), found.sampling_error),
    )


def _entered(mount: Mounted, wavelength_m: Floats) -> Floats:
    return mount.entrance(wavelength_m, np.full(wavelength_m.size, mount.sine_in))


def _sentence(mount: Mounted, along: float, error: float, sampling: float) -> str:
    part = {0.5: "unpolarised", 1.0: "polarised along the grooves"}.get(round(along, 9))
    if part is None:
        part = "polarised across the grooves" if along < 1e-9 else "polarised at an angle"
    return (
        f"efficiencies by rigorous theory for light {part} on {mount.material}, interpolated "
        f"between orders; error {error:.0e} from truncation, {sampling:.0e} from interpolation "
        "in wavelength"
    )
