"""Photographs by textbook formulas alone: no part of the program draws them.

Far field of N slits (Born & Wolf 8.5.1, 8.6.1), a source slit's image as a sum of nine points, a
black body's light (Planck) seen through the CIE 1931 observer in the closed form of Wyman, Sloan &
Shirley (2013, J. Comput. Graph. Tech. 2(2), 1) and sRGB's primaries (IEC 61966-2-1); the pattern of
a round hole (Airy 1835). Then what photographs add: turn, background, noise, a tone curve, eight
bits, JPEG.

    python -m tests.drawn_patterns        makes the pictures under scenes/photographs
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
_TO_SRGB = np.array(
    [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]]
)


def observer() -> tuple[Floats, Floats]:
    """Wavelengths (n,) [m] and the three curves (n, 3)."""
    nm = np.arange(390.0, 720.0, 3.0)

    def lobe(height: float, middle: float, left: float, right: float) -> Floats:
        scale = np.where(nm < middle, left, right)
        return np.asarray(height * np.exp(-0.5 * ((nm - middle) * scale) ** 2))

    x = lobe(1.056, 599.8, 0.0264, 0.0323) + lobe(0.362, 442.0, 0.0624, 0.0374)
    x -= lobe(0.065, 501.1, 0.0490, 0.0382)
    y = lobe(0.821, 568.8, 0.0213, 0.0247) + lobe(0.286, 530.9, 0.0613, 0.0322)
    z = lobe(1.217, 437.0, 0.0845, 0.0278) + lobe(0.681, 459.0, 0.0385, 0.0725)
    return nm * 1e-9, np.stack([x, y, z], axis=1)


def slits(
    x_m: np.ndarray, *, width_m: float, pitch_m: float, count: int, focal_m: float = 1.0,
    slit_image_m: float = 0.0, wavelength_m: float | None = None, kelvin: float = 5772.0,
    lean: float = 0.0,
) -> Floats:  # fmt: skip
    """(n, 3) linear light behind slits: white light of a black body, or one wavelength in grey.

    `lean` is how far a camera's channels lie from sRGB's, relative to the wavelength.
    """
    if wavelength_m is None:
        wavelengths, colours = observer()
        wavelengths = wavelengths * (1 + lean)
        energy = 1 / wavelengths**5 / np.expm1(1.438777e-2 / wavelengths / kelvin)
        colours = colours * (energy / energy.max())[:, None] @ _TO_SRGB.T
    else:
        wavelengths, colours = np.array([wavelength_m]), np.ones((1, 3))
    found = np.zeros((x_m.size, 3))
    for wave, colour in zip(wavelengths, colours, strict=True):
        light = np.zeros(x_m.size)
        for shift in np.linspace(-0.5, 0.5, 9) * slit_image_m:
            u = np.sin(np.arctan((x_m - shift) / focal_m)) / wave
            below = np.sin(np.pi * pitch_m * u)
            safe = np.where(np.abs(below) < 1e-9, 1.0, below)
            many = np.where(np.abs(below) < 1e-9, count, np.sin(np.pi * count * pitch_m * u) / safe)
            light += np.sinc(width_m * u) ** 2 * many**2
        found += light[:, None] * colour
    return np.maximum(found, 0.0)


def disc(shape: tuple[int, int], pixel_m: float, diameter_m: float, wavelength_m: float) -> Floats:
    """(ny, nx) Airy's pattern behind a lens of 1 m, a little off the picture's middle."""
    from scipy.special import j1

    y, x = np.indices(shape)
    r = np.hypot(x - (shape[1] - 1) / 2 - 3.3, y - (shape[0] - 1) / 2 + 2.1) * pixel_m
    v = np.maximum(np.pi * diameter_m * np.sin(np.arctan(r)) / wavelength_m, 1e-9)
    return np.asarray((2 * j1(v) / v) ** 2)


def ruled(
    x_m: np.ndarray, *, pitch_m: float, count: int, width_m: float, wavelength_m: float,
    period: float, amplitude_m: float, pixel_m: float, focal_m: float = 1.0,
    axis_rad: float = 0.0, slit_image_m: float = 0.0,
) -> Floats:  # fmt: skip
    """(n,) light behind a grating with a screw error: every ruling's wave added to the others'.

    A ruling j stands at j d + a sin(2 pi j / P). Slits of `width_m`, at normal incidence, seen
    along `axis_rad`; light is averaged over pixel and source slit.
    """
    j = np.arange(count) - (count - 1) / 2
    positions = j * pitch_m + amplitude_m * np.sin(2 * np.pi * j / period)
    light = np.zeros(x_m.size)
    spread = (np.arange(9) - 4) / 9
    for within in spread * pixel_m:
        for shift in np.linspace(-0.5, 0.5, 9) * slit_image_m if slit_image_m else (0.0,):
            u = np.sin(axis_rad + np.arctan((x_m + within - shift) / focal_m)) / wavelength_m
            wave = np.exp(-2j * np.pi * np.outer(u, positions)).sum(axis=1)
            light += np.sinc(width_m * u) ** 2 * np.abs(wave) ** 2
    return light


def powder(
    shape: tuple[int, int], pixel_m: float, diameter_m: float, *, count: int, stop_m: float,
    random: np.random.Generator, wavelength_m: float | None = None, focal_m: float = 1.0,
    kelvin: float = 5772.0,
) -> Floats:  # fmt: skip
    """(ny, nx, 3) light behind `count` round grains at random in a round stop, with its speckle.

    Every grain's wave is added to the others', and each grain's own is Airy's; overlaps are left
    as they fall. Grains are holes, so the direct light is theirs alone.
    """
    from scipy.special import j1

    r = stop_m / 2 * np.sqrt(random.uniform(0, 1, count))
    t = random.uniform(0, 2 * np.pi, count)
    px, py = r * np.cos(t), r * np.sin(t)
    y = (np.arange(shape[0]) - (shape[0] - 1) / 2 + 1.4) * pixel_m / focal_m
    x = (np.arange(shape[1]) - (shape[1] - 1) / 2 - 2.3) * pixel_m / focal_m
    wavelengths, colours = observer()
    if wavelength_m is None:
        energy = 1 / wavelengths**5 / np.expm1(1.438777e-2 / wavelengths / kelvin)
        colours = colours * (energy / energy.max())[:, None] @ _TO_SRGB.T
    else:
        wavelengths, colours = np.array([wavelength_m]), np.ones((1, 3))
    found = np.zeros((*shape, 3))
    distance = np.hypot(x[None, :], y[:, None])
    for wave, colour in zip(wavelengths, colours, strict=True):
        ex = np.exp(-2j * np.pi / wave * np.outer(px, x))
        ey = np.exp(-2j * np.pi / wave * np.outer(y, py))
        v = np.maximum(np.pi * diameter_m * np.sin(np.arctan(distance)) / wave, 1e-9)
        light = np.abs(ey @ ex) ** 2 * (2 * j1(v) / v) ** 2
        found += light[:, :, None] * colour
    return np.maximum(found, 0.0)


def _turned(light: Floats, columns: Floats, y: float, turn: float) -> Floats:
    """A row of a pattern (n, 3) turned clockwise by an angle [rad], y below the middle."""
    across = columns * np.cos(turn) + y * np.sin(turn)
    x = np.arange(light.shape[0]) - (light.shape[0] - 1) / 2
    return np.stack([np.interp(across, x, c) for c in light.T], axis=1)


@dataclass(frozen=True)
class Camera:
    """What a photograph adds: exposure over the brightest point white, tone 1 / gamma, noise.

    `slant` is the relative change of scale from the picture's left edge to its right one, and
    `spread` that from its upper edge down over a height as large as its width: a camera that
    looks at the plate at a slant (a projective map, to first order). `noise` is that of the light
    at white, part of it going with the root of the light; `grain` is film's, three pixels wide.
    """

    exposure: float = 3.0
    gamma: float = 2.2
    noise: float = 0.01
    turn_deg: float = 0.4
    background: float = 0.003
    rows: int = 60
    slant: float = 0.0
    spread: float = 0.0
    grain: float = 0.0

    def of_line(self, light: Floats, random: np.random.Generator) -> NDArray[np.uint8]:
        """A pattern along x (n, 3) as a picture."""
        n, turn = light.shape[0], np.radians(self.turn_deg)
        columns = np.arange(n) - (n - 1) / 2
        heights = np.arange(self.rows) - (self.rows - 1) / 2
        across = columns / (1 - self.slant * columns / (2 * n))
        picture = np.stack(
            [
                _turned(light, across * (1 + self.spread * float(y) / n), float(y), turn)
                for y in heights
            ]
        )
        return self.of_plane(picture, random)

    def of_plane(self, light: Floats, random: np.random.Generator) -> NDArray[np.uint8]:
        """Light over a plane as a picture."""
        from scipy.ndimage import gaussian_filter

        shown = light / light.max() * self.exposure + self.background
        grain, shot = random.standard_normal((2, *light.shape))
        shown = shown * (1 + self.noise * grain) + 0.3 * self.noise * np.sqrt(shown) * shot
        if self.grain:
            coarse = gaussian_filter(random.standard_normal(light.shape[:2]), 1.3) * 4.6
            shown = shown * (
                1 + self.grain * coarse.reshape(*coarse.shape, *[1] * (light.ndim - 2))
            )
        return np.asarray(np.round(255 * np.clip(shown, 0, 1) ** (1 / self.gamma)), dtype=np.uint8)


def save(picture: NDArray[np.uint8], path: Path) -> Path:
    """As PNG, or as JPEG of quality 90."""
    from PIL import Image

    Image.fromarray(picture).save(path, quality=90)
    return path


def main() -> None:
    """The shipped photographs; their truths stand in the scenes beside them."""
    folder = Path(__file__).resolve().parents[1] / "scenes" / "photographs"
    random = np.random.default_rng(20261)
    x = (np.arange(1400) - 699.5) * 40e-6 + 1.3e-3
    single = slits(x, width_m=43e-6, pitch_m=90e-6, count=1, slit_image_m=33.3e-6)
    save(Camera(gamma=1.9).of_line(single, random), folder / "slit.jpg")
    pair = slits(
        x, width_m=41e-6, pitch_m=157e-6, count=2, slit_image_m=33.3e-6, wavelength_m=632.8e-9
    )
    red = pair * np.array([1.0, 0.06, 0.03])
    save(Camera(gamma=2.3, turn_deg=-0.7, exposure=2.0).of_line(red, random), folder / "pair.png")
    random = np.random.default_rng(20262)
    light = powder((200, 220), 100e-6, 32e-6, count=1200, stop_m=6e-3, random=random,
                   wavelength_m=632.8e-9, focal_m=0.3)  # fmt: skip
    exposure = float(light.max() / np.quantile(light, 0.985))
    rings = Camera(exposure=exposure, gamma=2.1).of_plane(
        light * np.array([1.0, 0.06, 0.03]), random
    )
    save(rings, folder / "powder.jpg")


if __name__ == "__main__":
    main()
