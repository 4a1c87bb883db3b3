"""Black bodies, illuminants and photometry against published figures."""

from __future__ import annotations

import numpy as np
import pytest

from wavesim.light import air, observer, photometry, pieces, smooth

STEFAN_BOLTZMANN = 5.670374419e-8  # W m-2 K-4, SI


def _xy(spectrum: pieces.Spectrum) -> list[float]:
    xyz = photometry.tristimulus(spectrum)
    return [float(xyz[0] / xyz.sum()), float(xyz[1] / xyz.sum())]


@pytest.mark.parametrize(
    ("kelvin", "x", "y"),
    [(5772.0, 0.32655303, 0.33583366), (6500.0, 0.31352588, 0.32362830),
     (2856.0, 0.44753514, 0.40742829)],
)  # fmt: skip
def test_chromaticity_of_black_bodies(kelvin: float, x: float, y: float) -> None:
    # Planck with CIE 1931 at 1 nm, c2 = 0.01438776877 m K, computed apart; sums and integrals
    # differ by the curvature within 1 nm
    assert _xy(smooth.planckian(kelvin)) == pytest.approx([x, y], abs=2e-6)


@pytest.mark.parametrize(("kelvin", "efficacy"), [(5772.0, 92.029), (6628.0, 95.4285)])
def test_luminous_efficacy_of_black_bodies(kelvin: float, efficacy: float) -> None:
    # lm per W of the whole radiation (SI Brochure and CIE S 010, computed apart)
    found = photometry.luminous(smooth.planckian(kelvin))
    assert found / (STEFAN_BOLTZMANN * kelvin**4 / np.pi) == pytest.approx(efficacy, abs=1e-3)


@pytest.mark.parametrize("kelvin", [2000.0, 3200.0, 5772.0])
def test_luminance_of_black_bodies_seen_through_air(kelvin: float) -> None:
    """Planck's law over vacuum wavelengths, the eye's curve over those in air; plain quadrature."""
    node, weight = np.polynomial.legendre.leggauss(8)
    wavelength, curves = observer.cie1931()
    edges = air.to_vacuum(wavelength)
    half = np.diff(edges)[:, None] / 2
    vacuum = (edges[1:] + edges[:-1])[:, None] / 2 + half * node
    eye = np.interp(air.from_vacuum(vacuum), wavelength, curves[:, 1])
    expected = 683.0 * (smooth.planck(vacuum, kelvin) * eye * half * weight).sum()
    found = photometry.luminous(smooth.blackbody(kelvin))
    assert found == pytest.approx(expected, rel=1e-9)
    if kelvin == 2000.0:
        assert found / photometry.luminous(smooth.planckian(kelvin)) - 1 == pytest.approx(
            2.3e-3, abs=1e-4
        )


def test_luminous_efficacy_of_monochromatic_light() -> None:
    # 683 lm/W at 540 THz, 555.017 nm in air; the CIE curve there is 1 within 2e-5
    band = smooth.band(555.017e-9, 1e-12)
    assert photometry.luminous(band) / band.total() == pytest.approx(683.0, rel=3e-5)


@pytest.mark.parametrize(
    ("name", "x", "y", "tolerance"),
    [
        # CIE 15; the D65 rows are sums at 5 nm, ours integrals of straight pieces
        ("A", 0.44757355, 0.40743939, 2e-6), ("D65", 0.31272, 0.32903, 2e-5),
        ("E", 0.3333144, 0.3332877, 1e-6),
    ],
)  # fmt: skip
def test_chromaticity_of_illuminants(name: str, x: float, y: float, tolerance: float) -> None:
    assert _xy(smooth.illuminant(name)) == pytest.approx([x, y], abs=tolerance)


def test_sums_of_the_observer() -> None:
    wavelength, curves = observer.cie1931()
    assert wavelength.shape == (471,)
    # ISO/CIE 11664-1
    assert curves.sum(axis=0) == pytest.approx([106.86546949, 106.8569171, 106.89225128], rel=1e-9)
    with pytest.raises(ValueError, match="read-only"):
        curves[0, 0] = 1.0


@pytest.mark.parametrize("name", ["A", "D50", "D55", "D65", "D75", "FL1", "FL2", "FL7", "FL11",
                                  "FL12"])  # fmt: skip
def test_illuminants_agree_with_colour_science(name: str) -> None:
    colour = pytest.importorskip("colour")
    table = colour.SDS_ILLUMINANTS[name]
    ours = smooth.illuminant(name)
    nodes = table.wavelengths[(table.wavelengths >= 380) & (table.wavelengths <= 780)]
    density = ours.density(nodes * 1e-9)
    theirs = np.array([table[w] for w in nodes])
    scale = theirs[36] / density[36]  # relative: at 560 nm
    # tables are printed to six figures; A is Planck's law here and a rounded table there
    assert density * scale == pytest.approx(theirs, rel=1e-5, abs=1e-9)


def test_observer_agrees_with_colour_science() -> None:
    colour = pytest.importorskip("colour")
    table = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    wavelength, curves = observer.cie1931()
    assert wavelength * 1e9 == pytest.approx(table.wavelengths)
    assert curves == pytest.approx(table.values, rel=1e-11)


def test_weighting_is_exact_for_straight_curves() -> None:
    x = np.array([400.0, 500.0, 600.0]) * 1e-9
    ramp = pieces.from_nodes(x[[0, 2]], np.array([0.0, 2.0]), "radiance")
    roof = np.array([[0.0], [1.0], [0.0]])
    # by hand: int of t * roof(t) over 0..2 = 1/3 + 2/3
    assert photometry.weighted(ramp, x, roof)[0] == pytest.approx(100e-9, rel=1e-13)
