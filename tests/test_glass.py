"""Glasses by name, against their catalogue figures and a facet worked out by hand."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from tests.bench import scene as bench_scene
from tests.narrowing import of_kind
from wavesim import aperture, glass
from wavesim.aperture import Rays
from wavesim.errors import LimitError
from wavesim.scene import Scene
from wavesim.scene.aperture import Grating
from wavesim.scene.groove import BlazedGroove

D, F, C = 587.5618e-9, 486.1327e-9, 656.2725e-9  # helium and hydrogen lines of catalogues, in air
DATA = Path(__file__).resolve().parents[2] / "shared" / "data"


# catalogue of 2017 for the crown; Malitson (1965), the Abbe number from memory
@pytest.mark.parametrize(
    ("name", "nd", "abbe", "digits"),
    [("crown glass", 1.51680, 64.17, 5e-6), ("fused silica", 1.458464, 67.8, 1e-6)],
)
def test_index_and_abbe_number_of_catalogues(
    name: str, nd: float, abbe: float, digits: float
) -> None:
    found = {line: float(glass.index(name, line)) for line in (D, F, C)}
    assert found[D] == pytest.approx(nd, abs=digits)
    assert (found[D] - 1) / (found[F] - found[C]) == pytest.approx(abbe, abs=0.1)


@pytest.mark.skipif(not DATA.exists(), reason="the tables lie beside a checkout")
@pytest.mark.parametrize(
    ("name", "file"),
    [("crown glass", "crown_glass_nbk7_schott2017"), ("fused silica", "fused_silica_malitson1965"),
     ("acrylic", "acrylic_pmma_beadie2015")],
)  # fmt: skip
def test_the_formulas_are_those_of_the_tables(name: str, file: str) -> None:
    lines = (DATA / f"optical_constants_{file}.csv").read_text().splitlines()
    rows = np.array([line.split(",") for line in lines if line[:1].isdigit()], dtype=float)
    visible = (rows[:, 0] > 0.42) & (rows[:, 0] < 1.0)
    assert glass.index(name, rows[visible, 0] * 1e-6) == pytest.approx(rows[visible, 1], abs=1e-7)


def grating(lines: str) -> Scene:
    return bench_scene(
        source='kind = "laser"\nwavelength = "500 nm"',
        bench='collimator = "1 m"\ncamera = "1 m"',
        aperture=f'kind = "grating"\ncount = 100\ndensity = "100 / mm"\n{lines}',
        plate='width = "10 mm"\nheight = "1 mm"\npixel = "100 um"',
    )


@pytest.mark.parametrize("material", glass.NAMES)
def test_a_blaze_in_glass_falls_off_as_its_facet_and_dispersion_say(material: str) -> None:
    """Efficiency of order 1 is sinc^2(1 - h c), h the rise over the pitch and c the turns a metre:
    1 where the refracted ray is the order; the index at each wavelength from the catalogue."""
    made = grating(f'material = "{material}"\ngroove = {{ profile = "blazed", blaze = "500 nm" }}')
    (comb,) = aperture.build(made).combs
    groove = of_kind(BlazedGroove, of_kind(Grating, made.aperture).groove)
    pitch, facet = 1e-5, groove.facet_angle_rad
    for wave in (450e-9, 500e-9, 650e-9):
        sine = wave / pitch
        found = abs(comb.element.amplitude(Rays(0.0, np.array([sine]), wave))[0]) ** 2 / pitch**2
        turns = (float(glass.index(material, wave)) - math.cos(math.asin(sine))) / wave
        expected = np.sinc(1 - pitch * math.tan(facet) * turns) ** 2
        assert found == pytest.approx(expected, abs=1e-9)
        if wave == 500e-9:
            assert found == pytest.approx(1, abs=1e-9)


def test_a_material_without_a_formula_is_refused_in_scalar_theory() -> None:
    with pytest.raises(LimitError, match=r"material.*crown glass"):
        aperture.build(
            grating('material = "resin"\ngroove = { profile = "blazed", facet_angle = "3 deg" }')
        )
