"""Rigorous efficiencies against rows computed by other methods (see groove_rows)."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.groove_rows import (
    ECHELETTES,
    FILMS,
    LAMELLAR,
    MEDIA,
    MODES,
    SINUSOIDS,
    Row,
    echelette,
    lamellar,
    sinusoid,
)
from wavesim.grooves import Efficiencies, Lamellar, Surface, constant, efficiencies
from wavesim.grooves.curves import Path, curve
from wavesim.grooves.efficiency import waves_for
from wavesim.grooves.problem import Kind
from wavesim.grooves.surface import method_for

UM = 1e-6
SLOW = {"L11", "E6 413 nm", "E8 blaze", "E7", "E7 grazing", "M1", "E2", "E3", "E5", "E6 620 nm",
        "E6 689 nm", "L10", "L2", "L7", "L9"}  # fmt: skip
ROWS = [
    pytest.param(row, marks=pytest.mark.slow if row.name in SLOW else [], id=row.name)
    for row in (*LAMELLAR, *SINUSOIDS, *ECHELETTES)
]


def deviations(row: Row) -> tuple[float, float]:
    """Largest deviation of any listed efficiency, E and H along the grooves."""
    found = efficiencies(row.surface, np.array([row.wavelength * UM]), row.sine,
                         tolerance=row.tolerance)  # fmt: skip
    worst = []
    for k in (0, 1):
        apart = [abs(found.reflected[k, 0, found.index(-n)] - v)
                 for n, v in row.reflected[k].items()]  # fmt: skip
        apart += [abs(found.transmitted[k, 0, found.index(-n)] - v)
                  for n, v in row.transmitted[k].items()]  # fmt: skip
        worst.append(max(apart))
    assert np.abs(found.balance).max() < 2e-6  # rounding alone; tells nothing of convergence
    return worst[0], worst[1]


@pytest.mark.parametrize("row", ROWS)
def test_efficiencies_are_those_of_other_methods(row: Row) -> None:
    along, across = deviations(row)
    assert along < row.reach[0], f"E along: {along:.2e}"
    assert across < row.reach[1], f"E across: {across:.2e}"


def conical(surface: Surface, wavelength: float, theta: float, phi: float, psi: float,
            tolerance: float = 1e-6) -> tuple[dict[int, float], dict[int, float]]:  # fmt: skip
    """Efficiencies by n in the angles of Moharam et al. 1995, light from a medium of index 1."""
    t, p, s = np.radians([theta, phi, psi])
    found = efficiencies(surface, np.array([wavelength * UM]), math.sin(t) * math.cos(p),
                         sine_along=math.sin(t) * math.sin(p), tolerance=tolerance)  # fmt: skip
    e = math.cos(s) * math.cos(t) * math.sin(p) + math.sin(s) * math.cos(p)
    h = math.cos(s) * math.cos(p) - math.sin(s) * math.cos(t) * math.sin(p)
    unit = np.array([e, h]) / math.sqrt(1 - (math.sin(t) * math.sin(p)) ** 2)
    assert unit @ unit == pytest.approx(1.0, abs=1e-14)
    both = found.amplitudes
    up = np.sum(np.abs(np.einsum("oin,i->on", both.reflected[:, :, 0], unit)) ** 2, axis=0)
    down = np.sum(np.abs(np.einsum("oin,i->on", both.transmitted[:, :, 0], unit)) ** 2, axis=0)
    orders = both.order.tolist()
    return dict(zip(orders, up, strict=True)), dict(zip(orders, down, strict=True))


CONICAL = {
    "C1": (lamellar(1, 0.5, 1, 1, 2.04), 1, 10, 30, 45,
           {-1: 0.033177285870, 0: 0.015576072354},
           {-2: 0.022699388771, -1: 0.126758435279, 0: 0.703211610850, 1: 0.098577206876}, 2e-8),
    "C2": (lamellar(1.25, 0.4, 0.8, 1, 1.5), 1, 20, 90, 0,
           {-1: 0.007351494498, 1: 0.007351494498, 0: 0.009182200933},
           {-1: 0.412968826679, 0: 0.150177156712}, 2e-8),
    "C3": (lamellar(1, 0.5, 1, 1, 0.22 + 6.71j), 1, 30, 45, 90,
           {-1: 0.366738114002, 0: 0.575692135668}, {}, 3e-7),
    "K1": (sinusoid(1, 0.1, 1.3 + 7.6j), 0.7, 25, 40, 30,
           {-1: 0.154857627391, 0: 0.751367924055}, {}, 1e-10),
    "K3": (sinusoid(1, 0.1, None), 0.7, 25, 40, 30,
           {-1: 0.169380690900, 0: 0.830619309100}, {}, 1e-10),
}  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("name", CONICAL)
def test_conical_mounting(name: str) -> None:
    surface, wavelength, theta, phi, psi, up, down, reach = CONICAL[name]
    reflected, transmitted = conical(surface, wavelength, theta, phi, psi, reach)
    assert max(abs(reflected[n] - v) for n, v in up.items()) < reach
    assert max([abs(transmitted[n] - v) for n, v in down.items()] or [0]) < reach


def test_conical_mounting_tends_to_the_classical_one() -> None:
    """By the square of the sine along the grooves."""
    surface, apart = sinusoid(1, 0.1, 1.3 + 7.6j), []
    classical = efficiencies(surface, np.array([0.7 * UM]), 0.25, tolerance=1e-9)
    for along in (0.02, 0.01):
        found = efficiencies(surface, np.array([0.7 * UM]), 0.25, sine_along=along, tolerance=1e-9)
        apart.append(np.abs(found.reflected - classical.reflected).max())
    assert apart[0] / apart[1] == pytest.approx(4.0, rel=0.05)


FLAT = [  # Born & Wolf 1.6: index, angle, R of E along and of H along the grooves
    (1.5, 30, 0.0577961054032, 0.0252491465484),
    (0.22 + 6.71j, 30, 0.9836390656055, 0.9781662564233),
    (0.8734 + 6.2418j, 0, 0.9177389897325, 0.9177389897325),
]


@pytest.mark.parametrize(("index", "angle", "along", "across"), FLAT)
def test_a_flat_surface_has_fresnels_coefficients(
    index: complex, angle: float, along: float, across: float
) -> None:
    for surface in (sinusoid(1, 0, index), lamellar(1, 1, 0.3, 1, index)):
        found = efficiencies(surface, np.array([0.7 * UM]), math.sin(math.radians(angle)),
                             tolerance=1e-10)  # fmt: skip
        assert found.reflected[:, 0, found.index(0)] == pytest.approx([along, across], abs=1e-11)


@pytest.mark.parametrize("row", FILMS, ids=lambda row: row.name)
def test_flat_films_have_fresnels_coefficients(row: Row) -> None:
    """Born & Wolf 1.6: antireflection, a metal film, frustrated total reflection."""
    along, across = deviations(row)
    assert max(along, across) < 1e-11


def exponents(
    surface: Surface, wavelength_m: float, sine: float, kind: Kind, level: int = 3
) -> np.ndarray:
    """s^2 / k0^2 of the modes of a surface's first layer, largest first."""
    vacuum = np.array([wavelength_m])
    method, _ = method_for(surface, vacuum, "modal", level)
    waves = waves_for(surface, vacuum, np.array([sine]))
    layer = method.layers(method.problem(kind, waves))[0]
    squared = layer.up.rho[0] ** 2 / waves.k0[0] ** 2
    return np.asarray(squared[np.argsort(-squared.real)])


@pytest.mark.slow
@pytest.mark.parametrize("name", MODES)
def test_modes_are_the_roots_of_their_equation(name: str) -> None:
    """Botten et al. 1981: roots in extended precision, both fields."""
    row = next(row for row in LAMELLAR if row.name == name)
    kinds: tuple[Kind, Kind] = ("along", "across")
    for kind, roots in zip(kinds, MODES[name], strict=True):
        found = exponents(row.surface, row.wavelength * UM, row.sine, kind)[: len(roots)]
        assert np.abs(found - roots).max() < 1e-7


@pytest.mark.parametrize(("index", "duty", "ratio", "along", "across"), MEDIA)
def test_the_permittivity_of_fine_layers(
    index: float, duty: float, ratio: float, along: float, across: float
) -> None:
    """Normal incidence, exact roots; Rytov 1956 to second order in the pitch over wavelength."""
    surface = lamellar(ratio, duty, 0.3, 1, index)
    cases: tuple[tuple[Kind, float], ...] = (("along", along), ("across", across))
    for kind, eps in cases:
        assert exponents(surface, UM, 0.0, kind, 1)[0] == pytest.approx(eps, abs=1e-8)


@pytest.mark.slow
def test_a_coating_of_the_ridges_own_material_makes_them_wider() -> None:
    """And one of air changes nothing: vertical walls are covered as tops and bottoms are."""
    metal, vacuum, t = constant(0.9 + 6j), np.array([0.7 * UM]), 0.03 * UM
    bare = efficiencies(lamellar(1, 0.5, 0.2, 1, 0.9 + 6j), vacuum, 0.2, tolerance=1e-3)
    for coat, duty in ((metal, 0.44), (constant(1.0), 0.5)):
        surface = Surface(Lamellar(0.2 * UM, duty), UM, metal, coating=((coat, t),))
        found = efficiencies(surface, vacuum, 0.2, tolerance=1e-3)
        assert found.reflected == pytest.approx(bare.reflected, abs=3e-5)


@pytest.mark.slow
def test_coated_ridges_conserve_energy() -> None:
    """A transparent coating, thicker than the ridges are high."""
    surface = Surface(Lamellar(0.02 * UM, 0.5), UM, constant(1.5),
                      coating=((constant(2.2), 0.05 * UM),))  # fmt: skip
    found = efficiencies(surface, np.array([0.7 * UM]), 0.2, tolerance=1e-2)
    assert np.abs(found.balance).max() < 1e-9
    assert found.reflected.sum(axis=-1).min() > 0.1  # the bare ridges reflect 0.04


@pytest.mark.parametrize(
    ("row", "field", "orders", "expected"),
    [
        (LAMELLAR[0], 0, (10, 20, 40), (3e-2, 5e-3, 6e-4)),
        (LAMELLAR[0], 1, (10, 20, 40), (6e-3, 4e-3, 2e-3)),
        (LAMELLAR[1], 0, (10, 20, 40), (2e-4, 2e-5, 3e-6)),
        (LAMELLAR[1], 1, (10, 20, 40), (1e-4, 4e-5, 9e-6)),
    ],
)
def test_fourier_series_err_as_the_factorisation_rules_foretell(
    row: Row, field: int, orders: tuple[int, ...], expected: tuple[float, ...]
) -> None:
    """Errors of the modal method with the right rules (independently tabulated), within 2 x."""
    from wavesim.grooves.efficiency import waves_for
    from wavesim.grooves.modal import Fourier, ModalMethod
    from wavesim.grooves.scatter import scatter
    from wavesim.grooves.stack import layers_of

    s, vacuum = row.surface, np.array([row.wavelength * UM])
    steps = s.profile.steps(s.pitch_m)
    assert steps is not None
    layers = layers_of(steps)
    assert s.below is not None
    above, below = s.eps(s.above, vacuum), s.eps(s.below, vacuum)
    for most, error in zip(orders, expected, strict=True):
        method = ModalMethod(Fourier(most), layers, [below, above])
        found = scatter(method, waves_for(s, vacuum, np.array([row.sine])), above, below)
        apart = max(abs(found.reflected_power[field, 0, list(found.order).index(n)] - v)
                    for n, v in row.reflected[field].items())  # fmt: skip
        if field == 0 or row is not LAMELLAR[1]:
            assert apart < 2 * error
        assert apart > 0.02 * error  # and no better: the series is truncated


@pytest.mark.slow
def test_energy_is_conserved_without_absorption() -> None:
    """200 random lossless cases: powers by Green's theorem, absorption by the field at the faces.

    Layers on Fourier series to rounding at any truncation, sinusoids as they converge.
    """
    random = np.random.default_rng(20)
    for _ in range(10):
        pitch, index = random.uniform(0.8, 2.0), random.uniform(1.3, 2.2)
        layered = bool(random.integers(2))
        if layered:
            duty, depth = random.uniform(0.2, 0.8), random.uniform(0.1, 0.8)
            surface = lamellar(pitch, duty, depth, 1, index)
        else:
            surface = sinusoid(pitch, random.uniform(0.02, 0.2) * pitch, index)
        found = efficiencies(
            surface,
            random.uniform(0.6, 1.0, 20) * UM,
            random.uniform(-0.8, 0.8, 20),
            tolerance=1e-2 if layered else 1e-7,
            method="fourier" if layered else "auto",
        )
        assert np.abs(found.balance).max() < 1e-9
        assert np.abs(found.absorbed).max() < 1e-9


def test_absorption_is_that_of_the_field() -> None:
    """For metals: reflected light and power into the metal add up, which are computed apart."""
    found = efficiencies(sinusoid(1, 0.1, 1.3 + 7.6j), np.array([0.7 * UM]), 0.25, tolerance=1e-9)
    assert found.absorbed[0, 0] == pytest.approx(1 - 0.148376901933 - 0.720274009789
                                                 - 0.051514290457, abs=1e-10)  # fmt: skip


def reciprocal(
    surface: Surface, wavelength_m: float, sine_in: float, m: int, *, tolerance: float = 1e-5
) -> tuple[np.ndarray, np.ndarray]:
    """(2,) amplitudes of reflected order m, and of the same order with the light sent back.

    Light that comes back along the diffracted ray has sin alpha' = sin beta and gives order m
    the same amplitude, with absorption too (Lorentz's theorem; Petit 1980, chapter 1).
    """
    vacuum = np.array([wavelength_m])
    ahead = efficiencies(surface, vacuum, sine_in, tolerance=tolerance)
    index = float(np.sqrt(surface.eps(surface.above, vacuum).real)[0])
    sine_out = m * wavelength_m / surface.pitch_m / index - sine_in
    back = efficiencies(surface, vacuum, sine_out, tolerance=tolerance)

    def amplitudes(found: Efficiencies) -> np.ndarray:
        column = int(np.flatnonzero(found.amplitudes.order == -m)[0])
        return np.array([found.amplitudes.reflected[k, k, 0, column] for k in (0, 1)])

    return amplitudes(ahead), amplitudes(back)


@pytest.mark.slow
def test_light_sent_back_along_an_order_has_the_same_amplitude() -> None:
    """Lorentz's theorem, with absorption; random metal echelettes."""
    random = np.random.default_rng(3)
    for _ in range(3):
        surface = echelette(1, random.uniform(0.2, 0.5), 1.0 + 1j * random.uniform(4, 7))
        ahead, back = reciprocal(surface, 0.6 * UM, random.uniform(-0.3, 0.3), 1, tolerance=3e-4)
        assert np.abs(ahead - back).max() < 3e-4


def test_shallow_sinusoids_tend_to_rayleighs_formula() -> None:
    """Perfect conductor, first order in the depth (Rayleigh 1907); relative error falls as h^2."""
    k, apart = 2 * math.pi / 0.7, []
    for depth in (0.02, 0.01):
        found = efficiencies(sinusoid(1, depth, None), np.array([0.7 * UM]), 0.25, tolerance=1e-10)
        a0, a1 = k * 0.25, k * 0.25 + 2 * math.pi
        b0, b1 = math.sqrt(k**2 - a0**2), math.sqrt(k**2 - a1**2)
        rayleigh = np.array([b0 * b1, (k**2 - a0 * a1) ** 2 / (b0 * b1)]) * depth**2 / 4
        apart.append(np.abs(found.reflected[:, 0, found.index(-1)] / rayleigh - 1))
    assert apart[0] / apart[1] == pytest.approx([4.0, 4.0], rel=0.05)


def test_total_absorption_by_a_gold_sinusoid() -> None:
    """Hutley & Maystre 1976: 1800 / mm, 647.1 nm; here the index 0.16 + 3.57 i, depth 39.82 nm."""
    surface = sinusoid(1 / 1.8, 0.03982, 0.16 + 3.57j)
    angle = math.sin(math.radians(6.9601))
    found = efficiencies(surface, np.array([0.6471 * UM]), angle, tolerance=1e-9)
    assert found.reflected[1, 0, found.index(0)] < 1e-6
    assert found.reflected[0, 0, found.index(0)] > 0.9
    fixed = efficiencies(sinusoid(1 / 1.8, 0.03, 0.16 + 3.57j), np.array([0.6471 * UM]),
                         math.sin(math.radians(6)), tolerance=1e-9)  # fmt: skip
    assert fixed.reflected[:, 0, fixed.index(0)] == pytest.approx(
        [0.9545257982, 0.8325565824], abs=2e-9
    )


def test_fine_gratings_are_an_effective_medium() -> None:
    """Normal incidence, n 1.5, f 1/2, depth 0.3 lambda: reflectances by exact modes."""
    for pitch, along, across in ((0.1, 0.0230868361, 0.016192), (0.02, 0.0229667254, 0.0159688)):
        found = efficiencies(lamellar(pitch, 0.5, 0.3, 1, 1.5), np.array([UM]), 0.0, tolerance=1e-7)
        assert found.reflected[0, 0, found.index(0)] == pytest.approx(along, abs=2e-8)
        assert found.reflected[1, 0, found.index(0)] == pytest.approx(across, abs=2e-6)


@pytest.mark.slow
def test_a_curve_is_interpolated_to_its_tolerance() -> None:
    """Sampled where it bends, against every place computed; Rayleigh's cut is a break."""
    surface = sinusoid(1 / 1.8, 0.03, 0.16 + 3.57j)
    path = Path(lambda x: np.full_like(x, 0.6471 * UM), lambda x: x)
    passing_off = 1 - 0.6471 * 1.8  # sin alpha at which order m = 1 passes off, sign changed
    breaks = np.array([-0.3, passing_off, 0.0])
    found = curve(surface, path, breaks, tolerance=1e-3)
    x = np.linspace(-0.3, 0.0, 61)
    every = efficiencies(surface, np.full(x.size, 0.6471 * UM), x, tolerance=1e-5)
    up, _, absorbed = found.at(x)
    assert np.abs(up - every.reflected).max() < 1e-3
    assert np.abs(absorbed - every.absorbed).max() < 1e-3
    assert found.computed < 400


@pytest.mark.slow
def test_the_sampling_error_stated_is_a_bound() -> None:
    """Random noble metals with narrow plasmons (the first two passed unseen between the points of
    9 and of 17): every place of a dense curve is within the error stated."""
    random = np.random.default_rng(22)
    given = [(0.10 + 3.47j, 0.013, 0.2), (0.19 + 3.80j, 0.022, -0.3)]
    given += [(complex(random.uniform(0.03, 0.3), random.uniform(1.5, 4.5)),
               random.uniform(0.004, 0.05), random.uniform(-0.7, 0.7))]  # fmt: skip
    for index, depth, sine in given:
        surface = sinusoid(1, depth, index)
        low, high = random.uniform(0.4, 0.6) * UM, random.uniform(0.8, 1.1) * UM
        passing = [(s + sine) / m * UM for m in range(-5, 6) if m for s in (-1, 1)]
        breaks = np.unique([low, *(x for x in passing if low < x < high), high])
        path = Path(lambda x: x, lambda x, sine=sine: np.full_like(x, sine))  # type: ignore[misc]
        found = curve(surface, path, breaks, tolerance=1e-3)
        x = np.linspace(low, high, 80)
        every = efficiencies(surface, x, sine, tolerance=1e-4)
        up, _, absorbed = found.at(x)
        columns = [every.index(int(m)) for m in found.order]
        apart = np.abs(up - every.reflected[:, :, columns]).max()
        apart = max(apart, np.abs(absorbed - every.absorbed).max())
        assert apart < found.sampling_error + found.error.max()
        assert found.sampling_error < 2.1e-3
