"""Makes groove_limits.png: how rigorous theory comes to Fresnel's and to scalar theory.

python scenes/pictures/limits.py

Both from `wavesim.efficiency` on the aluminium grating of anomalies_across (550 nm, 10 degrees).
Fresnel's coefficients are written out here, from the indices of the shipped table.
"""

import math
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from wavesim import efficiency, load
from wavesim.figures import save
from wavesim.figures.style import WEB, styled
from wavesim.grooves.materials import shipped
from wavesim.grooves.of_scene import in_air

HERE = Path(__file__).parent
WAVELENGTH_NM, INCIDENCE_RAD = 550.0, math.radians(10)
DEPTHS_NM = (2.0, 4.0, 8.0, 16.0, 32.0, 64.0)  # at 1,200 / mm
DENSITIES = (1600, 1131, 800, 566, 400, 283, 200, 141, 100)  # per mm, grooves of 100 nm


def main() -> None:
    """Compute both limits, draw them, and print the slopes of their last octaves."""
    flat = fresnel()
    shallow = [np.abs(zero_order(depth, 1200)[:2] - flat) for depth in DEPTHS_NM]
    wide = [np.abs(np.diff(zero_order(100.0, d)[[0, 2, 1]])) for d in DENSITIES]
    pitches = 1e6 / np.array(DENSITIES) / WAVELENGTH_NM
    depths = np.array(DEPTHS_NM) / WAVELENGTH_NM
    with styled(WEB):
        figure = Figure(figsize=(WEB.width_in, 0.5 * WEB.width_in), dpi=WEB.dpi)
        left, right = figure.subplots(1, 2)
        draw(left, depths, np.array(shallow), 2.0, 0)
        draw(right, pitches, np.array(wide), -1.0, -1)
        left.set_title("shallow grooves, 1,200 / mm", loc="left")
        left.set_xlabel("depth / wavelength", loc="left")
        left.set_ylabel("order 0 less Fresnel's reflectance")
        right.set_title("grooves 100 nm deep", loc="left")
        right.set_xlabel("pitch / wavelength", loc="left")
        right.set_ylabel("order 0 less scalar theory")
        figure.tight_layout(w_pad=2.5)
    save(figure, HERE / "groove_limits.png")


def zero_order(depth_nm: float, density_per_mm: float) -> np.ndarray:
    """Efficiency of order 0: along, across, and scalar."""
    scene = load(HERE.parent / "anomalies_across.toml").but(
        {"aperture.groove.depth": f"{depth_nm} nm", "aperture.density": f"{density_per_mm} / mm"}
    )
    found = efficiency(
        scene, order=0, from_="549 nm", to="551 nm", points=3, tolerance=1e-6
    ).orders[0]
    return np.array([found.along[1], found.across[1], found.scalar[1]])


def fresnel() -> np.ndarray:
    """Reflectance of flat aluminium, along (s) and across (p) the grooves."""
    index = complex(in_air(shipped("aluminium")).at(np.array([WAVELENGTH_NM * 1e-9]))[0])
    cosine = math.cos(INCIDENCE_RAD)
    inside = np.sqrt(1 - (math.sin(INCIDENCE_RAD) / index) ** 2)
    s = (cosine - index * inside) / (cosine + index * inside)
    p = (index * cosine - inside) / (index * cosine + inside)
    return np.abs([s, p]) ** 2


def draw(axes: Axes, x: np.ndarray, off: np.ndarray, slope: float, anchor: int) -> None:
    """Both polarisations on logarithmic axes, beside a line of the expected slope."""
    for column, name in enumerate(("along the grooves", "across the grooves")):
        axes.loglog(x, off[:, column], "o-", color=WEB.series[column], label=name, markersize=4)
        steep = np.log(off[1:, column] / off[:-1, column]) / np.log(x[1:] / x[:-1])
        print(f"{name}: slopes {np.array2string(steep, precision=2)}")
    guide = 0.4 * off[anchor].min() * (x / x[anchor]) ** slope
    axes.loglog(x, guide, "--", color=WEB.quiet, label=f"slope {slope:g}".replace("-", "−"))
    axes.grid(visible=True)
    axes.legend(loc="best")


if __name__ == "__main__":
    main()
