"""Lamp lines and lasers against published wavelengths, widths and a second list."""

from __future__ import annotations

import numpy as np
import pytest

from tests.hydrogen_lines import components
from wavesim.errors import SceneError
from wavesim.light import air, lamps, photometry
from wavesim.light.voigt import voigt_fwhm


def _nearest(element: str, nanometres: float, reach_nm: float = 0.02) -> float:
    """Power-weighted mean of the lines within reach [nm]."""
    found = lamps.lines(element)
    near = np.abs(found.wavelength_m * 1e9 - nanometres) < reach_nm
    return float(np.average(found.wavelength_m[near] * 1e9, weights=found.strength[near]))


@pytest.mark.parametrize(
    ("nanometres", "tolerance"),
    [(656.27952, 1e-4), (486.13249, 1e-4), (434.04634, 1e-4), (410.17346, 1e-4)],
)
def test_hydrogen_blends_from_dirac_levels(nanometres: float, tolerance: float) -> None:
    # computed apart with mpmath (Dirac + 2s Lamb shift, strength-weighted); list of reference:
    # Reader, Appl. Spectrosc. 58, 1469 (2004)
    assert _nearest("H", nanometres) == pytest.approx(nanometres, abs=tolerance)


def test_hydrogen_components() -> None:
    # the C line of glass catalogues, 656.2725 nm, is the component 2s1/2 - 3p3/2
    names = {name: vacuum for vacuum, _, name in components(3)}
    assert air.from_vacuum(names["2s1/2-3p3/2"]) * 1e9 == pytest.approx(656.2725, abs=1e-4)
    # the two strong components are apart by the splitting of 2p, 0.365 / cm
    apart = 1 / names["2p1/2-3d3/2"] - 1 / names["2p3/2-3d5/2"]
    assert apart / 100.0 == pytest.approx(0.365 - 0.036, abs=0.001)  # less that of 3d, 0.036


@pytest.mark.parametrize(
    ("element", "nanometres", "tolerance"),
    [
        ("Na", 588.9950867, 2e-5), ("Na", 589.5924150, 2e-5),  # Steck's D lines, by Ciddor
        ("Cd", 643.84696, 1e-6),  # the defined red line
        ("Cd", 479.9914, 5e-4),  # F' of glass catalogues
        ("Hg", 546.0740, 2e-3), ("Hg", 435.8343, 1e-3),  # e and g of glass catalogues
        ("He", 587.5618, 1e-3), ("He", 706.5188, 1e-3),  # d and r of glass catalogues
        # NIST Handbook of Basic Atomic Spectroscopic Data, air, from memory
        ("Hg", 404.6563, 1e-3), ("Hg", 576.9598, 2e-3), ("Hg", 579.0663, 2e-3),
        ("Cd", 467.8149, 1e-3), ("Cd", 508.5822, 1e-3),
        ("Ne", 585.2488, 1e-3), ("Ne", 640.2246, 1e-3),
    ],
)  # fmt: skip
def test_known_lines(element: str, nanometres: float, tolerance: float) -> None:
    assert _nearest(element, nanometres) == pytest.approx(nanometres, abs=tolerance)


# a second list: sodium from the Atomic Line List 3.00b4 (carried by pyemili 1.2.0), neon from the
# NIST ASD (carried by rascal 0.3.11, vacuum there, turned into air by Ciddor)
_SECOND = {
    "H": [656.2800, 486.1325, 434.0463, 410.1735, 397.0072, 388.9049, 383.5384],
    "Na": [466.48106, 466.85595, 497.85413, 498.28134, 514.88382, 515.34023, 568.26332, 568.82046,
           588.9950, 589.5924, 615.4225, 616.0747, 818.3255, 819.4824],
    "Ne": [609.61629, 614.30627, 626.64951, 633.44275, 638.29913, 640.22479, 650.65277, 667.82765,
           692.94671, 703.24127],
}  # fmt: skip


@pytest.mark.parametrize("element", _SECOND)
def test_against_a_second_list(element: str) -> None:
    for nanometres in _SECOND[element]:
        # lists agree to half a picometre; the H list gives blends to 1 pm
        assert _nearest(element, nanometres) == pytest.approx(nanometres, abs=6e-4)


@pytest.mark.parametrize("element", lamps.MASS_U)
def test_power_of_a_lamp_is_the_sum_of_its_lines(element: str) -> None:
    found = lamps.lines(element)
    spectrum = lamps.spectrum(found)
    assert spectrum.total() == pytest.approx(found.strength.sum(), rel=1e-5)  # wings given back
    edges = np.linspace(360e-9, 830e-9, 101)
    power, _ = spectrum.integrate(edges[:-1], edges[1:])
    expected, _ = np.histogram(found.wavelength_m, edges, weights=found.strength)
    assert power == pytest.approx(expected, abs=2e-3 * found.strength.max())  # wings across edges


def test_triplets_from_one_upper_level() -> None:
    # A from the NIST ASD: power A / wavelength. Hg 7s 3S1: 2.07e7, 5.6e7, 4.9e7 / s
    found = lamps.lines("Hg")
    power = {round(w * 1e9): s for w, s in zip(found.wavelength_m, found.strength, strict=True)}
    assert power[405] / power[436] == pytest.approx(2.07 / 5.6 * 435.83 / 404.66, rel=1e-3)
    assert power[546] / power[436] == pytest.approx(4.9 / 5.6 * 435.83 / 546.07, rel=1e-3)


def test_doppler_width() -> None:
    # 7.16e-7 sqrt(T / M): B. E. A. Saleh & M. C. Teich and others; here for H alpha at 600 K
    width = lamps.doppler_m(np.array([656.28e-9]), 600.0, 1.008)[0]
    assert width == pytest.approx(7.16e-7 * 656.28e-9 * np.sqrt(600.0 / 1.008), rel=1e-3)


def test_pressure_broadens_and_keeps_the_power() -> None:
    low, high = (lamps.lines("Na", pressure_Pa=p) for p in (0.0, 1e5))
    assert (high.lorentz_m > 100.0 * low.lorentz_m).all()
    assert lamps.spectrum(high).total() == pytest.approx(high.strength.sum(), rel=1e-3)
    # half the power of D2 stands within its full width: 2/pi atan(1) of a Lorentzian
    d2 = int(np.argmax(high.strength))
    half = voigt_fwhm(high.gaussian_m[d2], high.lorentz_m[d2]) / 2.0
    centre = high.wavelength_m[d2]
    power, _ = lamps.spectrum(high).integrate([centre - half], [centre + half])
    assert power[0] / high.strength[d2] == pytest.approx(0.5, abs=0.04)  # Voigt, not Lorentz


def test_self_reversal_darkens_the_centre() -> None:
    spectrum = lamps.spectrum(lamps.lines("Na", reversal=10.0, pressure_Pa=2e4))
    clear = lamps.spectrum(lamps.lines("Na", pressure_Pa=2e4))
    found = lamps.lines("Na")
    d2, d1 = (found.wavelength_m[np.abs(found.wavelength_m - w) < 1e-11][0] for w in
              (588.995e-9, 589.592e-9))  # fmt: skip
    assert spectrum.density(d2) / clear.density(d2) == pytest.approx(np.exp(-10.0), rel=0.02)
    assert spectrum.density(d1) / clear.density(d1) == pytest.approx(np.exp(-5.0), rel=0.02)
    wing = d2 + 8e-12
    assert spectrum.density(wing) == pytest.approx(clear.density(wing), rel=1e-3)
    x = d2 + np.linspace(-6e-12, 6e-12, 2001)
    peak = x[np.argmax(spectrum.density(x))]
    assert abs(peak - d2) > 0.5e-12  # twin peaks


def test_reversal_without_a_resonance_line_is_refused() -> None:
    with pytest.raises(
        SceneError, match=r"source\.reversal: this lamp has no self-reversed line.*Na"
    ):
        lamps.lines("Ne", reversal=1.0)


@pytest.mark.parametrize(
    ("element", "x", "y"),
    # colours as they are known, coarse: sodium yellow 589 nm (locus .5693, .4300: CIE table), neon
    # orange-red
    [("Na", 0.5693, 0.4300), ("Ne", 0.66, 0.335)],
)
def test_colour_of_lamps(element: str, x: float, y: float) -> None:
    xyz = photometry.tristimulus(lamps.spectrum(lamps.lines(element)))
    assert xyz[:2] / xyz.sum() == pytest.approx([x, y], abs=0.02)


@pytest.mark.parametrize("linewidth", [1e-19, 1e-15, 1e-13, 1e-10])
def test_laser_has_unit_power(linewidth: float) -> None:
    line = lamps.laser(632.8e-9, linewidth)
    # positions are rounded to 1e-22 m: 1e-6 of the narrowest line that is drawn
    assert line.total() == pytest.approx(1.0, rel=1e-8 if linewidth > 1e-16 else 1e-6)
    half = max(linewidth, 1e-16) / 2.0
    power, centroid = line.integrate([632.8e-9 - half], [632.8e-9 + half])
    # erf(sqrt(ln 2)): the part of a Gaussian within its full width at half maximum
    assert power[0] == pytest.approx(0.760968108550488, rel=1e-5)
    assert centroid[0] == pytest.approx(632.8e-9, rel=1e-12)


def test_a_line_as_wide_as_the_spectrum_is_refused() -> None:
    with pytest.raises(SceneError, match=r"source\.linewidth: is too wide for a laser"):
        lamps.laser(632.8e-9, 1e-6)
