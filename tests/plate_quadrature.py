"""Pixels of slit scenes by direct quadrature, and random scenes to hold a plate against it.

A pixel's light is integrated as it stands in the textbook, with none of the engine's tables:

    E = 1 / pixel^2  integral dx dy over the pixel, ds dt over the source, dlambda over the light of
        L(lambda) |A_x((sin a + s + p) / lambda) A_y((q + t) / lambda)|^2 / lambda^2  J(x, y),

A_x the sum over the slits of w sinc(w u) exp(-2 pi i u x_j), A_y = h sinc(h v), J = d(p, q) /
d(x, y) = f (f cos b0 - x sin b0) / r^4 (Born & Wolf 8.5 for the amplitudes). Gauss-Legendre rules
over pixel and source; wavelength in bins so narrow that light at their middles stands for them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wavesim.compiled import compiled
from wavesim.light import spectrum as light_of
from wavesim.lightpath import ExposedPlate
from wavesim.scene import Scene

_MOST_WAVES = 6000


@dataclass(frozen=True)
class Setup:
    """A slit scene in plain numbers [m]; `source`, `plate` and `bench` are tables of its text."""

    source: str
    bench: str
    plate: str
    count: int
    width_m: float
    pitch_m: float
    height_m: float

    def slits(self) -> str:
        """The aperture as slits."""
        return (
            f'kind = "slits"\ncount = {self.count}\nwidth = "{self.width_m * 1e6!r} um"\n'
            f'height = "{self.height_m * 1e6!r} um"'
            + (f'\npitch = "{self.pitch_m * 1e6!r} um"' if self.count > 1 else "")
        )

    def mesh(self) -> str:
        """The same as a mesh of one row."""
        hole = (
            f'hole = {{ kind = "rectangle", width = "{self.width_m * 1e6!r} um", '
            f'height = "{self.height_m * 1e6!r} um" }}'
        )
        return (
            f'kind = "mesh"\n{hole}\ncount_x = {self.count}\ncount_y = 1\n'
            f'pitch_x = "{self.pitch_m * 1e6!r} um"\npitch_y = "{self.height_m * 2e6!r} um"'
        )

    def fan(self, angle: str) -> str:
        """The same slits, fanned out."""
        return self.slits() + f'\n[[aperture.defects]]\nkind = "fan"\nangle = "{angle}"'


LIGHTS = (
    'kind = "laser"\nwavelength = "{wave:.1f} nm"',
    'kind = "band"\ncentre = "{wave:.1f} nm"\nwidth = "{wide:.1f} nm"',
    'kind = "led"\nwavelength = "{wave:.1f} nm"\nwidth = "30 nm"',
    'kind = "lamp"\nelement = "{lamp}"',
    'kind = "blackbody"\ntemperature = "5000 K"',
    'kind = "sun"',
)


def setup_of(seed: int) -> Setup:
    """A random bench, small enough for the quadrature: 1 to 8 slits, up to 30 degrees aside."""
    draw = np.random.default_rng(seed)
    focal, pixel = 10 ** draw.uniform(-0.7, 0.3), 10 ** draw.uniform(-5, -4)
    count = int(draw.integers(1, 9))
    width = 10 ** draw.uniform(-5, -4)
    pitch = width * draw.uniform(1.3, 4)
    height = 10 ** draw.uniform(-3.5, -2)
    source = LIGHTS[int(draw.integers(len(LIGHTS)))].format(
        wave=draw.uniform(420, 680),
        wide=10 ** draw.uniform(0.3, 2),
        lamp=["Na", "Hg", "Cd"][int(draw.integers(3))],
    )
    slit = ""
    coherent = "laser" in source
    if not coherent or draw.random() < 0.3:
        w, h = 10 ** draw.uniform(-5.3, -3.7), 10 ** draw.uniform(-5, -3.3)
        source += f'\nslit = {{ width = "{w * 1e6:.2f} um", height = "{h * 1e6:.2f} um" }}'
        slit = f'collimator = "{draw.uniform(0.3, 1):.3f} m"\n'
    alpha = 0.0 if draw.random() < 0.5 else draw.uniform(-30, 30)
    aside = 0.0 if draw.random() < 0.6 else draw.uniform(-10, 10)
    bench = (
        f'{slit}camera = "{focal:.4f} m"\nincidence = "{alpha:.3f} deg"\n'
        f'viewing = "{aside - alpha:.3f} deg"'
    )
    nx, ny = int(draw.integers(60, 240)), int(draw.integers(8, 60))
    plate = (
        f'width = "{nx * pixel * 1e6!r} um"\nheight = "{ny * pixel * 1e6!r} um"\n'
        f'pixel = "{pixel * 1e6!r} um"'
    )
    return Setup(source, bench, plate, count, width, pitch, height)


def pixels_of(irradiance: np.ndarray, seed: int, *, many: int = 3) -> list[tuple[int, int]]:
    """Pixels (row, column) to look at: the brightest, the steepest, corners, and some at random."""
    draw = np.random.default_rng(seed)
    ny, nx = irradiance.shape
    steep = [np.abs(np.diff(irradiance, axis=a)) for a in (0, 1) if irradiance.shape[a] > 1]
    tops = [irradiance, *steep]
    found = [(int(t.argmax()) // nx, int(t.argmax()) % nx) for t in tops]
    found += [(0, 0), (ny - 1, nx - 1), (ny // 2, nx // 2)]
    found += [(int(draw.integers(ny)), int(draw.integers(nx))) for _ in range(many)]
    bright = np.argsort(irradiance.ravel())[-max(1, irradiance.size // 10) :]
    for k in draw.choice(bright, many):
        found.append((int(k) // nx, int(k) % nx))
    return found


def worst_miss(setup: Setup, scene: Scene, plate: ExposedPlate, seed: int) -> float:
    """Largest miss over a plate's pixels looked at, of the brightest pixel."""
    return miss_at(setup, scene, plate, pixels_of(plate.irradiance, seed))


def miss_at(
    setup: Setup, scene: Scene, plate: ExposedPlate, pixels: list[tuple[int, int]]
) -> float:
    """Largest |E - E by quadrature| over those pixels, over the brightest E of the plate.

    The level of a laser, whose beam decides it (tests/test_illumination.py), is taken from the
    first pixel.
    """
    found = np.array([plate.irradiance[pixel] for pixel in pixels])
    exact = quadrature(setup, scene, pixels)
    if scene.source.kind == "laser":
        exact *= found[0] / exact[0]
    return float(np.abs(found - exact).max() / plate.irradiance.max())


def quadrature(setup: Setup, scene: Scene, pixels: list[tuple[int, int]]) -> np.ndarray:
    """Irradiance [W/m2] of those pixels."""
    bench, pixel = scene.bench, scene.plate.pixel_m
    focal, axis, alpha = bench.camera_focal_m, bench.camera_axis_rad, bench.alpha_rad
    spectrum = light_of(scene.source)
    x_edges, y_edges = scene.plate.x_edges_m(), scene.plate.y_edges_m()
    span = setup.pitch_m * (setup.count - 1) + setup.width_m
    sines = np.sin(axis + np.arctan(x_edges[[0, -1]] / focal)) + math.sin(alpha)
    widest = float(np.abs(sines).max())
    power, wave = _wavelengths(spectrum, span * widest + setup.height_m * y_edges[-1] / focal)
    short = float(wave.min())
    source_x, source_y, spread = _source(scene, span, setup.height_m, short)
    x = (np.arange(setup.count) - (setup.count - 1) / 2) * setup.pitch_m
    nodes = [_gauss(pixel / focal * w / short) for w in (span, setup.height_m)]
    slit = scene.source.slit
    lean = math.cos(alpha) * math.tan(slit.turn_rad) if slit else 0.0
    wedge = _wedge(scene)
    factor = spread if spectrum.kind_of_level == "radiance" else math.cos(alpha)
    out = []
    for row, column in pixels:
        px = (x_edges[column] + x_edges[column + 1]) / 2 + pixel / 2 * nodes[0][0]
        py = (y_edges[row] + y_edges[row + 1]) / 2 + pixel / 2 * nodes[1][0]
        weight = np.outer(nodes[1][1], nodes[0][1]) / 4
        total = _pixel(
            px, py, weight, wave, power, x, (setup.width_m, setup.height_m),
            source_x, source_y, (math.sin(alpha), math.cos(axis), math.sin(axis), focal),
            (lean, wedge),
        )  # fmt: skip
        out.append(total * factor)
    return np.array(out)


def _wedge(scene: Scene) -> float:
    """Change of the slit's width along it, relative, for each sine of height; the lines' upper
    ends come from below."""
    slit, focal = scene.source.slit, scene.bench.collimator_m
    if slit is None or focal is None:
        return 0.0
    return -2 * math.tan(slit.jaws_rad / 2) * focal / slit.width_m


def _wavelengths(spectrum: object, path_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Light and wavelength of bins a twentieth of a fringe wide, as many as are bearable."""
    lo, hi = [], []
    support = spectrum.support_m  # type: ignore[attr-defined]
    for a, b in support:
        n = math.ceil(20 * path_m * (1 / a - 1 / b)) + 4 + math.ceil((b - a) / 0.2e-9)
        edges = np.linspace(a, b, min(n, max(_MOST_WAVES // len(support), 40)) + 1)
        lo.append(edges[:-1])
        hi.append(edges[1:])
    power, wave = spectrum.integrate(np.concatenate(lo), np.concatenate(hi))  # type: ignore[attr-defined]
    bright = power > 1e-9 * power.max()
    return power[bright], wave[bright]


def _gauss(cycles: float) -> tuple[np.ndarray, np.ndarray]:
    """Nodes and weights on -1 .. 1 for so many cycles across."""
    return np.polynomial.legendre.leggauss(5 + math.ceil(2.2 * cycles))


Points = tuple[np.ndarray, np.ndarray]


def _source(scene: Scene, span: float, height: float, short: float) -> tuple[Points, Points, float]:
    """Offsets of sin(alpha) and along the slit with weights that add up to 1; the solid angle."""
    slit, focal, alpha = scene.source.slit, scene.bench.collimator_m, scene.bench.alpha_rad
    if slit is None or focal is None:
        point = (np.zeros(1), np.ones(1))
        return point, point, 1.0
    half = math.atan(slit.width_m / 2 / focal)
    lo, hi = math.sin(alpha - half), math.sin(alpha + half)
    t, w = _gauss((hi - lo) * span / short)
    rise = math.sin(math.atan(slit.height_m / 2 / focal))
    r, v = _gauss(2 * rise * height / short)
    across = ((lo + hi) / 2 - math.sin(alpha) + (hi - lo) / 2 * t, w / 2)
    return across, (rise * r, v / 2), (hi - lo) * 2 * rise


@compiled(fastmath=False)
def _slit_power(u, x, w):  # type: ignore[no-untyped-def]
    re = im = 0.0
    for j in range(x.size):
        a = 2 * math.pi * u * x[j]
        re += math.cos(a)
        im += math.sin(a)
    b = math.pi * w * u
    e = w * (math.sin(b) / b if abs(b) > 1e-8 else 1.0)
    return (re * re + im * im) * e * e


@compiled(fastmath=False)
def _pixel(px, py, weight, wave, power, x, size, source_x, source_y, frame, errors):  # type: ignore[no-untyped-def]
    sin_in, c, s, f = frame
    lean, wedge = errors
    total = 0.0
    middle = np.zeros(1)
    straight = 1e-7 / (x[-1] - x[0] + size[0])  # of the wavelength: a bend that moves nothing
    for b in range(wave.size):
        for j in range(py.size):
            for i in range(px.size):
                r = math.sqrt(px[i] ** 2 + py[j] ** 2 + f * f)
                p, q = (px[i] * c + f * s) / r, py[j] / r
                light = across = last = wide = 0.0
                for m in range(source_y[0].size):
                    t = source_y[0][m]
                    bend = sin_in * (math.sqrt(1 - t * t) - 1)  # a tall slit enters at a slant
                    bend += lean * t  # a turned slit: x = y tan(turn)
                    if m == 0 or abs(bend - last) > straight * wave[b] or wedge != 0:
                        across, last, wide = 0.0, bend, 1 + wedge * t
                        for k in range(source_x[0].size):
                            u = (sin_in + p + source_x[0][k] * wide + bend) / wave[b]
                            across += source_x[1][k] * _slit_power(u, x, size[0])
                    high = _slit_power((q + t) / wave[b], middle, size[1])
                    light += source_y[1][m] * wide * high * across
                jac = f * (f * c - px[i] * s) / r**4
                total += weight[j, i] * power[b] * light * jac / wave[b] ** 2
    return total
