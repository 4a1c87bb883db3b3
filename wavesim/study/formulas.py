"""Closed forms of gratings and their errors, as functions of the continuous order.

    mu = d (sin alpha + sin beta) / lambda,     an order m is mu = m.

Every intensity is relative to the peak of the perfect grating, (sum of weights)^2, unless a
function says otherwise. Displacements e_n move ruling n from n d to n d + e_n. All of it is
scalar theory in the far field: Fano (1948, JOSA 38, 921) finds that real gratings with a pitch
near the wavelength keep such ghost intensities in order of magnitude only.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from wavesim.arrays import Floats
from wavesim.study.roots import falling_root

FloatLike = float | Floats

FIRST_MAXIMUM = 0.0471904492258113  # of sinc^2: 1 / (1 + x^2) at tan x = x, x = 4.4934094579
SINC_FWHM = 0.885892941378905  # full width of sinc^2 at half its height (sin x / x)^2 = 1/2
RAYLEIGH_DIP = 8 / math.pi**2  # midpoint of two sinc^2 that stand peak on first zero


# --- orders ------------------------------------------------------------------------------------


def angular_dispersion_rad_m(order: float, pitch_m: float, beta_rad: FloatLike) -> Floats:
    """d(beta)/d(lambda) = m / (d cos beta) [rad/m]; Born & Wolf 8.6.1."""
    return np.asarray(order / (pitch_m * np.cos(beta_rad)))


def anamorphic_factor(alpha_rad: float, beta_rad: FloatLike) -> Floats:
    """cos(alpha) / cos(beta): how much wider than the slit its image is, at equal focal lengths."""
    return np.asarray(math.cos(alpha_rad) / np.cos(beta_rad))


def free_spectral_range_m(order: int, shortest_m: float) -> float:
    """lambda_1 / |m| [m]: the span above lambda_1 free of the next order; infinite in order 0."""
    return shortest_m / abs(order) if order else math.inf


def interference_factor(mu: FloatLike, count: int) -> Floats:
    """(sin(pi N mu) / (N sin(pi mu)))^2, the N-slit factor; Born & Wolf 8.6.1.

    Whole turns are taken off before the sines, so it is as exact as mu itself.
    """
    offset = np.asarray(mu - np.rint(mu), dtype=np.float64)
    turns = count * offset
    below = count * np.sin(np.pi * offset)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.sin(np.pi * (turns - np.rint(turns))) / below
    return np.where(below == 0, 1.0, ratio**2)


@lru_cache(maxsize=256)
def half_width_orders(count: int) -> float:
    """Full width at half maximum of the N-slit factor, in orders; N times it tends to 0.88589."""
    return 2 * falling_root(lambda t: float(interference_factor(t, count)) - 0.5, 0.0, 1.0 / count)


def gaussian_width_orders(radius_m: float, pitch_m: float) -> float:
    """Full width at half maximum, in orders, of a line in a Gaussian beam,

        |A|^2 = exp(-2 (pi r u)^2),   FWHM = sqrt(2 ln 2) d / (pi r),

    r the radius of 1/e^2 irradiance along the ruling. Stops holding when the ruling's ends cut
    the beam above about 1e-3 of its amplitude.
    """
    return math.sqrt(2 * math.log(2)) * pitch_m / (math.pi * radius_m)


# --- periodic errors ---------------------------------------------------------------------------


def bessel(order: int, argument: FloatLike) -> Floats:
    """J_k(z) of whole order."""
    from scipy.special import jv

    return np.asarray(jv(order, argument))


def ghost_ratio(order: float, harmonic: int, *, amplitude: float, period: float) -> float:
    """Strength of the k-th ghost of order m relative to its line,

        J_k(2 pi (m + k/P) A/d)^2 / J_0(2 pi m A/d)^2,

    for e_n = A sin(2 pi n / P + phase). The argument is the ghost's own direction m + k/P, not m:
    ghosts on the outer side are stronger, and the zero order has ghosts too.

    Parameters
    ----------
    amplitude : A/d, peak displacement over pitch (half of peak to peak)
    period : P, in rulings
    """
    return float(ghost_over_line(order, harmonic / period, harmonic, amplitude))


def ghost_over_line(
    order: FloatLike, offset: FloatLike, harmonic: int, amplitude: FloatLike
) -> Floats:
    """`ghost_ratio` at an offset k/P that need not be exact; arrays broadcast."""
    ghost = bessel(harmonic, 2 * np.pi * (order + offset) * amplitude)
    line = bessel(0, 2 * np.pi * order * amplitude)
    return np.asarray((ghost / line) ** 2)


def ghost_ratio_small(order: float, harmonic: int, *, amplitude: float) -> float:
    """Small-error form of `ghost_ratio`: ((pi m A/d)^k / k!)^2.

    First ghosts grow with m^2, second with m^4. Within 1 % while 2 pi m A/d < 0.2; it knows
    neither the asymmetry of the ghosts nor those of the zero order.
    """
    k = abs(harmonic)
    return ((math.pi * abs(order) * amplitude) ** k / math.factorial(k)) ** 2


def hard_edge_tail(offset: FloatLike, count: int) -> Floats:
    """1 / (2 (N sin(pi delta))^2): mean of the N-slit factor about the offset delta, in orders.

    A ghost below this hides in the tails that the sharp ends of the ruling give the line.
    """
    return np.asarray(0.5 / (count * np.sin(np.pi * np.asarray(offset))) ** 2)


# --- random errors -----------------------------------------------------------------------------


def parent_left(mu: FloatLike, relative_rms: float) -> Floats:
    """E = exp(-(2 pi mu sigma/d)^2): what independent Gaussian displacements leave of a line.

    For any other law E is |characteristic function|^2.
    """
    return np.asarray(np.exp(-((2 * np.pi * np.asarray(mu) * relative_rms) ** 2)))


def diffuse_level(mu: FloatLike, relative_rms: float, count: int) -> Floats:
    """(1 - E) / N: ensemble mean of the diffuse background of independent displacements.

    Relative to the unperturbed peak; divide by E for the damaged line. One ruling shows
    speckle about it, of exponential law: average a thousand resolution cells for 3 %.
    """
    return np.asarray((1 - parent_left(mu, relative_rms)) / count)


def rms_for_loss(loss: float, order: float) -> float:
    """sigma/d at which independent displacements take the part `loss` from the line."""
    return math.sqrt(-math.log1p(-loss)) / (2 * math.pi * abs(order))


def accumulated_factor(mu: FloatLike, relative_rms: float, count: int) -> Floats:
    """Ensemble mean for pitches with independent errors sigma that add up (a random walk),

        [N + 2 Re{z (N (1-z) - (1-z^N)) / (1-z)^2}] / N^2,
        z = exp(-(2 pi mu sigma/d)^2 / 2 + 2 pi i mu).

    Hosemann & Bagchi (1962), disorder of the second kind. No sharp line survives: it broadens.
    """
    mu = np.asarray(mu, dtype=np.float64)
    decay = (2 * np.pi * mu * relative_rms) ** 2 / 2
    exponent = -decay + 2j * np.pi * (mu - np.rint(mu))
    one_less = -np.expm1(exponent)
    n_less = -np.expm1(count * exponent)
    z = np.exp(exponent)
    with np.errstate(divide="ignore", invalid="ignore"):
        pairs = 2 * (z * (count * one_less - n_less) / one_less**2).real
    pairs = np.where(np.abs(exponent) * count < 1e-6, count * (count - 1.0), pairs)
    return np.asarray((count + pairs) / count**2)


def accumulated_width_orders(order: float, relative_rms: float) -> float:
    """Full width at half maximum, in orders, that accumulated errors alone give a line,

        (2/pi) asin((1 - r) / (2 sqrt r)),   r = exp(-(2 pi m sigma/d)^2 / 2),

    a Lorentzian of about 2 pi m^2 (sigma/d)^2, for a ruling long against 1/width.
    """
    r = math.exp(-((2 * math.pi * order * relative_rms) ** 2) / 2)
    return 2 / math.pi * math.asin(min(1.0, (1 - r) / (2 * math.sqrt(r))))


# --- drift and steps ---------------------------------------------------------------------------


def drift_curvature_per_m(
    order: int, wavelength_m: float, *, pitch_m: float, beta_rad: float, drift_per_m: float
) -> float:
    """1/r = m lambda kappa / (d cos^2 beta) [1/m] for a pitch d (1 + kappa x); Cornu's lens.

    The ruling acts as a weak cylinder lens, of opposite sign on the two sides of the zero order.
    """
    return order * wavelength_m * drift_per_m / (pitch_m * math.cos(beta_rad) ** 2)


def focal_shift_m(focal_m: float, curvature_per_m: float) -> float:
    """Place of best focus less the camera's focal length f [m].

    The ruling's power 1/r adds to the lens's, 1/f' = 1/f + 1/r, so f' - f = -f^2 / (r + f): where
    the pitch grows with x, rays from the far side leave more steeply and an order m > 0 comes to
    its focus early. Ruling and lens close together against r. Infinite where the ruling undoes
    the lens (1/r <= -1/f).
    """
    if focal_m * curvature_per_m <= -1:
        return math.inf
    return -(focal_m**2) * curvature_per_m / (1 + focal_m * curvature_per_m)


def strehl_of_phase(path_waves: Floats) -> float:
    """|mean exp(2 pi i w)|^2 of a wavefront w sampled evenly across a uniform ruling."""
    return float(np.abs(np.mean(np.exp(2j * np.pi * path_waves))) ** 2)


def step_left(order: float, relative_step: float, fraction: float = 0.5) -> float:
    """Intensity at the order with one step s after the part p of the rulings,

        1 - 4 p (1-p) sin^2(pi m s/d);   cos^2(pi m s/d) in the middle.

    At s = d/2m a middle step leaves nothing there: the line is split into twins.
    """
    product = 4 * fraction * (1 - fraction)
    return 1 - product * math.sin(math.pi * order * relative_step) ** 2
