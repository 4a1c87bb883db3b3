"""Where the rays of each pixel come from: bench and plate as sines of angles.

The plate is met in direction cosines. With the camera's axis at beta_0 and the plate at the
distance f behind the lens, a point (x, y) receives the direction

    p = (x cos beta_0 + f sin beta_0) / r,    q = y / r,    r = sqrt(x^2 + y^2 + f^2),

p along the dispersion (sin beta where y = 0) and q along the rulings. Power per dp dq needs no
further factor (dp dq = cos(theta) times the solid angle), so powers add up exactly.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from wavesim.arrays import Floats
from wavesim.errors import LimitError
from wavesim.geometry import Values, beta_of_x, x_of_beta
from wavesim.scene import Scene

_ROUNDING = 1e-16  # of a sine
_FINEST = 1e-14  # of a pixel in sin(beta): below, rounding swallows the pixel
_MOST_BOW = 10_000  # [pixel] allowed on small plates, too
_BOW_CUT = 0.003  # [pixel] that columns narrower than a pixel are worth
_PER_FRINGE = 3.0  # columns to the finest fringe
MOST_CUT = 4_000_000  # columns times rows of half a plate: 130 MB
_BOW_SEEN = 0.01  # [pixel] a smaller curvature of the lines is left out


@dataclass(frozen=True, eq=False)
class Geometry:
    """Pixels and source slit as sines.

    Attributes
    ----------
    x_edges_m, y_edges_m : (nx + 1,), (ny + 1,) [m] pixel edges on the plate
    margin : columns added on either side in `sine_edges`, needed where lines are bowed
    sine_edges : (nx fine + 2 margin + 1,) sin(beta) at the columns' edges where y = 0, ascending
    sine_in : sin(alpha) of the source's middle
    slit_sines : lower and upper offset of sin(alpha) across the source slit, or None
    slit_rise : sine of half the source slit's height, or None
    slit_lean : change of sin(alpha) along the slit for each sine of height: cos(alpha) tan(turn)
    slit_wedge : the same of either jaw away from the slit's middle, for each sine of height on the
        plate: cos(alpha) tan(half the angle between the jaws)
    tilt_rad, tip_rad : of the plate about its upright and its level middle line
    fine : columns to a pixel; more than one where lines are bowed and sharper than a pixel
    focal_m : [m] what turns tan(angle) into x: the plate's distance, defocus included
    axis_rad : beta_0, angle of the camera's axis
    """

    x_edges_m: Floats
    y_edges_m: Floats
    margin: int
    sine_edges: Floats
    sine_in: float
    slit_sines: tuple[float, float] | None
    slit_rise: float | None
    focal_m: float
    axis_rad: float
    slit_lean: float = 0.0
    slit_wedge: float = 0.0
    tilt_rad: float = 0.0
    tip_rad: float = 0.0
    fine: int = 1

    @property
    def x_m(self) -> Floats:
        """(nx,) [m] pixel middles."""
        return (self.x_edges_m[1:] + self.x_edges_m[:-1]) / 2

    @property
    def y_m(self) -> Floats:
        """(ny,) [m] pixel middles."""
        return (self.y_edges_m[1:] + self.y_edges_m[:-1]) / 2

    @property
    def slit_sr(self) -> float:
        """Projected solid angle that the source slit fills [sr]; 0 for a point."""
        if self.slit_sines is None or self.slit_rise is None:
            return 0.0
        lo, hi = self.slit_sines
        return (hi - lo) * 2 * self.slit_rise

    @property
    def rows(self) -> int:
        """Pixel rows, ny."""
        return self.y_edges_m.size - 1

    @property
    def middle_row(self) -> Geometry:
        """The same with one row as high as a pixel, whose lines are straight."""
        half = float(self.y_edges_m[1] - self.y_edges_m[0]) / 2
        return replace(self, y_edges_m=np.array([-half, half]))

    def pixel(self, column: int) -> Geometry:
        """The same of the one pixel of a column in the middle row, whose lines are straight.

        It has two rows where the plate's middle lies between two.
        """
        height = float(self.y_edges_m[1] - self.y_edges_m[0])
        count = 2 - self.rows % 2
        first = self.margin + column * self.fine
        return replace(
            self,
            x_edges_m=self.x_edges_m[column : column + 2],
            y_edges_m=np.asarray((np.arange(count + 1.0) - count / 2) * height),
            margin=0,
            sine_edges=self.sine_edges[first : first + self.fine + 1 : self.fine],
            fine=1,
        )

    @property
    def half_rows(self) -> int:
        """Rows from the lower edge up to the middle one; the upper half mirrors them."""
        return self.y_edges_m.size // 2

    @property
    def along_rulings(self) -> Geometry:
        """All that rows depend on: nothing of the source slit's width."""
        return replace(self, slit_sines=None)

    @property
    def reach(self) -> tuple[float, float]:
        """Smallest and largest sin(alpha) + sin(beta) on the plate, source slit included."""
        lo, hi = self.slit_sines or (0.0, 0.0)
        return (
            self.sine_in + lo + float(self.sine_edges[0]),
            self.sine_in + hi + float(self.sine_edges[-1]),
        )

    @property
    def symmetric(self) -> bool:
        """Whether the zero order stands in the plate's middle, at normal incidence."""
        lo, hi = self.slit_sines or (0.0, 0.0)
        uneven = np.abs(self.sine_edges + self.sine_edges[::-1]).max()
        return self.sine_in == 0.0 and lo == -hi and bool(uneven <= _ROUNDING)

    @property
    def pixel_sine(self) -> float:
        """Smallest width of a pixel in sin(beta)."""
        return float(np.diff(self.pixel_edges).min())

    @property
    def pixel_edges(self) -> Floats:
        """(nx + 1,) sin(beta) at the pixels' edges where y = 0."""
        return self.sine_edges[self.margin : self.sine_edges.size - self.margin : self.fine]

    def cut(self, parts: int) -> Geometry:
        """The same with each column cut into equal parts of sin(beta)."""
        return replace(
            self,
            margin=self.margin * parts,
            sine_edges=cut_evenly(self.sine_edges, parts),
            fine=self.fine * parts,
        )

    @property
    def widest_sine(self) -> float:
        """Largest |sin(alpha) + sin(beta)|: how strongly the plate disperses."""
        return max(abs(s) for s in self.reach)

    def sine(self, x_m: Floats, y_m: Floats | float) -> Floats:
        """p of a point on the plate."""
        x, y, z = self.in_space(x_m, y_m)
        r = np.sqrt(x**2 + y**2 + z**2)
        across = x * math.cos(self.axis_rad) + z * math.sin(self.axis_rad)
        return np.asarray(across / r)

    def in_space(self, x_m: Values, y_m: Values) -> tuple[Values, Values, Values]:
        """Across, up and along the camera's axis [m] of a point on the plate."""
        if self.tilt_rad == 0 and self.tip_rad == 0:
            return x_m, y_m, self.focal_m
        aside, behind = math.cos(self.tilt_rad), math.sin(self.tilt_rad)
        up, back = math.cos(self.tip_rad), math.sin(self.tip_rad)
        x = x_m * aside - y_m * (behind * back)
        return x, y_m * up, self.focal_m + x_m * behind + y_m * (aside * back)

    def height_sine(self, x_m: Values, y_m: Values) -> Floats:
        """q of a point on the plate."""
        x, y, z = self.in_space(x_m, y_m)
        return np.asarray(y / np.sqrt(x**2 + y**2 + z**2))

    def x_of_sine(self, sine: Floats) -> Floats:
        """x [m] of sin(beta) on the middle line y = 0."""
        return x_of_beta(np.arcsin(sine), self.axis_rad, self.focal_m, self.tilt_rad)

    def straightened(self, y_m: float) -> Floats:
        """x on the middle line [m] that gets the light of each pixel edge at height y."""
        return self.x_of_sine(np.clip(self.straightened_sine(y_m), -1.0, 1.0))

    @cached_property
    def column_edges_m(self) -> Floats:
        """x on the middle line [m] of the columns' edges, margin and all."""
        return self.x_of_sine(self.sine_edges)

    @cached_property
    def straightened_rows(self) -> Floats:
        """(ny, nx + 1) `straightened` of every row."""
        return np.stack([self.straightened(float(y)) for y in self.y_m])

    def straightened_sine(self, y_m: float) -> Floats:
        """sin(beta) on the middle line that gets the light of each pixel edge at height y.

        Lines of a grating are bowed for two reasons, both exact here: the plate's points at
        height y see the rulings foreshortened, and with a tall source slit the light that gets
        there entered at the same angle out of the plane. A slit that is turned against the rulings
        makes them lean: the light at q came from the slit's point at -q, beyond the slit's image
        from its end.
        """
        sine = self.sine(self.x_edges_m, y_m)
        if self.slit_rise is not None:
            q = float(self.height_sine(0.0, y_m))
            sine = sine + self.sine_in * (math.sqrt(1 - min(q * q, 1.0)) - 1)
            sine = sine - self.slit_lean * self._within_slit(y_m)
        return sine

    def jaws(self, y_m: float) -> tuple[float, float]:
        """Lower and upper offset of sin(alpha) of the jaws where the light at height y entered."""
        lo, hi = self.slit_sines or (0.0, 0.0)
        wider = self.slit_wedge * self._within_slit(y_m)
        return lo - wider, hi + wider

    def _within_slit(self, y_m: float) -> float:
        """q of the height y, or of the end of the slit's image."""
        rise = self.slit_rise or 0.0
        return min(max(float(self.height_sine(0.0, y_m)), -rise), rise)


def cut_evenly(edges: Floats, parts: int) -> Floats:
    """Edges of columns cut into equal parts."""
    inner = edges[:-1, None] + np.diff(edges)[:, None] * (np.arange(parts) / parts)
    return np.append(inner.ravel(), edges[-1])


def with_bow_resolved(
    geometry: Geometry, width_m: float, wavelength_m: float, *, most: int = MOST_CUT
) -> Geometry:
    """Columns so narrow that lines can be moved by a part of a pixel where they are bowed.

    The light of columns is put where the bow takes it by interpolation, which knows a line no
    sharper than a column. Three columns to the finest fringe, lambda over the ruled width, lose
    nothing; there are fewer where rows times columns would be more than `most`.
    """
    pixel = float(geometry.y_edges_m[1] - geometry.y_edges_m[0])
    if not geometry.margin or bow_pixels(geometry, pixel) < _BOW_CUT:
        return geometry
    wanted = math.ceil(_PER_FRINGE * geometry.pixel_sine * width_m / wavelength_m)
    pixels = (geometry.sine_edges.size - 1) * geometry.half_rows
    return geometry.cut(max(1, min(wanted, most // pixels)))


def geometry_of(scene: Scene) -> Geometry:
    """Sines of a scene's pixels and source slit.

    Raises
    ------
    LimitError
        The plate stands so far aside that its pixels cannot be told apart, or that lines are
        bowed by more than the plate's width.
    """
    bench, plate = scene.bench, scene.plate
    x_edges = np.asarray(plate.x_edges_m())
    y_edges = np.asarray(plate.y_edges_m())
    alpha, axis, focal = bench.alpha_rad, bench.camera_axis_rad, bench.image_distance_m
    bare = Geometry(
        x_edges_m=x_edges,
        y_edges_m=y_edges,
        margin=0,
        sine_edges=np.sin(beta_of_x(x_edges, axis, focal, bench.plate_tilt_rad)),
        sine_in=math.sin(alpha),
        slit_sines=_slit_sines(scene),
        slit_rise=_slit_rise(scene),
        focal_m=focal,
        axis_rad=axis,
        slit_lean=_of_slit(scene, "turn_rad"),
        slit_wedge=_of_slit(scene, "jaws_rad", 0.5),
        tilt_rad=bench.plate_tilt_rad,
        tip_rad=bench.plate_tip_rad,
    )
    if bare.pixel_sine < _FINEST:
        raise LimitError(
            "has pixels too small to be distinguished in angle",
            key="plate", expected="a plate nearer the camera's axis, or larger pixels",
        )  # fmt: skip
    return _with_margin(bare, plate.pixel_m)


def _slit_sines(scene: Scene) -> tuple[float, float] | None:
    slit, focal = scene.source.slit, scene.bench.source_focal_m
    if slit is None or focal is None:
        return None
    alpha, half = scene.bench.alpha_rad, math.atan(slit.width_m / 2 / focal)
    return math.sin(alpha - half) - math.sin(alpha), math.sin(alpha + half) - math.sin(alpha)


def _slit_rise(scene: Scene) -> float | None:
    slit, focal = scene.source.slit, scene.bench.source_focal_m
    if slit is None or focal is None:
        return None
    return math.sin(math.atan(slit.height_m / 2 / focal))


def _of_slit(scene: Scene, key: str, part: float = 1.0) -> float:
    """cos(alpha) times the tangent of that part of an angle of the source slit."""
    angle = getattr(scene.source.slit, key, 0.0)
    return math.cos(scene.bench.alpha_rad) * math.tan(part * angle)


def _with_margin(bare: Geometry, pixel_m: float) -> Geometry:
    """The same with the pixels added that a bow of the lines draws upon."""
    bow = bow_pixels(bare, pixel_m)
    if bow < _BOW_SEEN:
        return bare
    if bow > max(_MOST_BOW, bare.x_edges_m.size):
        raise LimitError(
            f"would bend lines by {bow:.3g} pixels, more than its width",
            key="plate", expected="a lower plate, or one nearer the camera's axis",
        )  # fmt: skip
    margin = math.ceil(bow) + 2
    lead = np.arange(1, margin + 1) * pixel_m
    x = np.concatenate([bare.x_edges_m[0] - lead[::-1], bare.x_edges_m, bare.x_edges_m[-1] + lead])
    angle = beta_of_x(x, bare.axis_rad, bare.focal_m, bare.tilt_rad)
    angle = np.clip(angle, -math.pi / 2, math.pi / 2)
    return replace(bare, margin=margin, sine_edges=np.sin(angle))


def bow_pixels(geometry: Geometry, pixel_m: float) -> float:
    """Largest displacement of a line from straight, at the plate's upper or lower edge [pixels]."""
    worst = 0.0
    for y in (float(geometry.y_edges_m[0]), float(geometry.y_edges_m[-1])):
        shift = geometry.straightened(y) - geometry.x_edges_m
        worst = max(worst, float(np.abs(shift).max()) / pixel_m)
    return worst
