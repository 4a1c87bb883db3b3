"""Efficiencies of grooves computed twice or more by unlike methods, as numbers to compare with.

Conventions: order n with n1 sin(theta_n) = n1 sin(theta) + n lambda / d (the program's m is -n),
lengths in micrometres, E along the grooves first, then H along the grooves ("across"). The cases
are standard ones of the literature (Li & Haggans 1993, Moharam et al. 1995, Botten et al. 1981,
Hutley & Maystre 1976); the digits are agreements of spectral elements, exact modes,
Rayleigh-Fourier matching in 40 digits and integral equations, each coded apart.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from wavesim.grooves import (
    Blazed,
    Lamellar,
    Sinusoidal,
    Staircase,
    Surface,
    constant,
)

UM = 1e-6
Orders = dict[int, float]


@dataclass(frozen=True)
class Row:
    """A surface, wavelength [um], sine of incidence, efficiencies and how far they are met.

    `reach` (E, H): the largest deviation measured, rounded up; the test holds it.
    """

    name: str
    surface: Surface
    wavelength: float
    sine: float
    reflected: tuple[Orders, Orders]
    transmitted: tuple[Orders, Orders] = ({}, {})
    reach: tuple[float, float] = (1e-8, 1e-8)
    tolerance: float = 1e-9


def _index(n: complex | None) -> object:
    return None if n is None else constant(n)


def lamellar(d: float, f: float, h: float, n1: complex, ridge: complex | None) -> Surface:
    return Surface(
        Lamellar(h * UM, f),
        d * UM,
        _index(ridge),
        above=constant(n1),  # type: ignore[arg-type]
    )


def sinusoid(d: float, h: float, n2: complex | None) -> Surface:
    return Surface(Sinusoidal(h * UM), d * UM, _index(n2))  # type: ignore[arg-type]


def echelette(d: float, sine_blaze: float, n2: complex | None) -> Surface:
    blaze = math.asin(sine_blaze)
    return Surface(
        Blazed(blaze, math.pi / 2 - blaze, d * UM),
        d * UM,
        _index(n2),  # type: ignore[arg-type]
    )


def _sine(degrees: float) -> float:
    return math.sin(math.radians(degrees))


SILVER_1 = 0.22 + 6.71j
# reach of metal lamellae: refined eigenproblems round 1e-7 to 3e-7 apart for two kernels of a BLAS
LAMELLAR = (
    Row("L1", lamellar(1, 0.5, 1, 1, SILVER_1), 1, 0.5,
        ({-1: 0.73427885193, 0: 0.13170917892}, {-1: 0.101555450014, 0: 0.848481678906}),
        reach=(5e-7, 1e-7), tolerance=1e-7),
    Row("L2", lamellar(1.25, 0.4, 0.8, 1, 1.5), 1, _sine(20),
        ({-1: 0.017202003365, 0: 0.001169545852}, {-1: 0.0207662313, 0: 0.0019566890}),
        ({-2: 0.097683850456, -1: 0.337800703727, 0: 0.414937956082, 1: 0.131205940517},
         {-2: 0.0032926968, -1: 0.3864612860, 0: 0.4620013142, 1: 0.1255217827}), tolerance=1e-7),
    Row("L3", lamellar(1, 0.5, 1, 1, 2.04), 1, _sine(10),
        ({-1: 0.038890943782, 0: 0.004709307577}, {-1: 0.0074675966, 0: 0.0497974987}),
        ({-2: 0.029889070564, -1: 0.151892209453, 0: 0.655064197893, 1: 0.119554270730},
         {-2: 0.0374750021, -1: 0.3510597183, 0: 0.5397644209, 1: 0.0144357634}), tolerance=1e-7),
    Row("L6", lamellar(0.5, 0.8, 0.2, 1, 0.06 + 4.152j), 0.6168, _sine(5),
        ({0: 0.985085724209}, {0: 0.983566412947}), reach=(1e-7, 1e-7), tolerance=1e-7),
    Row("L10", lamellar(1, 0.5, 50, 1, 2.04), 1, _sine(10),
        ({-1: 0.047816322694, 0: 0.001875440836}, {-1: 0.01586558, 0: 0.01642341}),
        ({-2: 0.011719660881, -1: 0.183191915183, 0: 0.044450806524, 1: 0.710945853883},
         {-2: 0.03211444, -1: 0.35731267, 0: 0.48904987, 1: 0.08923402}),
        reach=(5e-7, 5e-7), tolerance=1e-7),
    Row("L11", lamellar(10, 0.5, 1, 1, 2.04), 1, _sine(10),
        ({-1: 0.0001755, 0: 0.1037038, 1: 0.0016871},
         {-1: 0.00013819, 0: 0.100708, 1: 0.0011423}),
        ({-1: 0.0071582, 0: 0.7596211, 1: 0.0104928},
         {-1: 0.006374014813, 0: 0.776506384556, 1: 0.009178857994}),
        reach=(1e-7, 1e-6), tolerance=1e-5),
    Row("P1", lamellar(1, 0.5, 0.25, 1, None), 0.8, 0.3,
        ({-1: 0.637177223753}, {-1: 0.171579069184}), reach=(5e-7, 1e-6), tolerance=1e-7),
    Row("P2", lamellar(1, 0.4, 0.4, 1, None), 1.2, 0.6,
        ({-1: 0.397711497174}, {-1: 0.765991453084}), reach=(2e-7, 1e-7), tolerance=1e-7),
    Row("M1", Surface(Staircase((0, UM / 3, UM * 2 / 3, UM)), 2 * UM, constant(1.5)), 1, _sine(10),
        ({-2: 0.0078462594, -1: 0.0002883216, 0: 0.0035207939, 1: 0.0069006631},
         {-2: 0.0033640237, -1: 0.0000650100, 0: 0.0009656336, 1: 0.0120975647}),
        ({-3: 0.0463713031, -2: 0.1146374044, -1: 0.1412605215, 0: 0.3120908465,
          1: 0.3082371691, 2: 0.0588467173},
         {-3: 0.0095567032, -2: 0.1151515153, -1: 0.1505323758, 0: 0.4358420338,
          1: 0.2622336843, 2: 0.0101914557}), tolerance=1e-6, reach=(1e-7, 1e-7)),
)  # fmt: skip

ALUMINIUM = 1.3 + 7.6j
SINUSOIDS = (
    Row("S1", sinusoid(1, 0.1, None), 0.7, 0.25,
        ({-1: 0.160807428668, 0: 0.784904506465, 1: 0.054288064867},
         {-1: 0.224521607065, 0: 0.478601064071, 1: 0.296877328864})),
    Row("S2", sinusoid(1, 0.02, None), 0.7, 0.25,
        ({-1: 0.006944375589, 0: 0.990630924615, 1: 0.002424699796},
         {-1: 0.011415090755, 0: 0.973257724840, 1: 0.015327184405})),
    Row("S3", sinusoid(1, 0.5, None), 0.8, 0.4,
        ({-1: 0.95999030416, 0: 0.04000969584}, {-1: 0.23474330418, 0: 0.76525669582})),
    Row("S4", sinusoid(1, 0.1, 1.5), 0.7, 0.25,
        ({-1: 0.007312627285, 0: 0.031703714406, 1: 0.006569071596},
         {-1: 0.007888248027, 0: 0.023376800357, 1: 0.002476358889}),
        ({-2: 0.000228679478, -1: 0.013260450542, 0: 0.915087753776, 1: 0.025837702916},
         {-2: 0.000145165931, -1: 0.009151314762, 0: 0.948295791580, 1: 0.008666320453})),
    Row("S5", sinusoid(1, 0.5, 1.5), 0.7, 0.25,
        ({-1: 0.00347157786, 0: 0.01027667048, 1: 0.00189201707},
         {-1: 0.00105079963, 0: 0.00203089562, 1: 0.00022313708}),
        ({-2: 0.05792862358, -1: 0.28074231348, 0: 0.34813425109, 1: 0.29755454645},
         {-2: 0.01542457257, -1: 0.18313806031, 0: 0.57682964546, 1: 0.22130288933})),
    Row("S6", sinusoid(1, 0.1, ALUMINIUM), 0.7, 0.25,
        ({-1: 0.148376901933, 0: 0.720274009789, 1: 0.051514290457},
         {-1: 0.208836809355, 0: 0.473226192245, 1: 0.223597526857})),
    Row("S8", sinusoid(1 / 1.8, 0.04, 0.06 + 4.152j), 0.6168, _sine(10),
        ({-1: 0.013992524182, 0: 0.973042663015}, {-1: 0.110636544655, 0: 0.874770659045})),
    Row("S9", sinusoid(1, 1, 2.5), 0.9, 0,
        ({1: 0.0103617017, 0: 0.0139509847}, {1: 0.0028778474, 0: 0.0077207388}),
        ({2: 0.0494151419, 1: 0.0953641603, 0: 0.6757670076},
         {2: 0.2331566066, 1: 0.0135769738, 0: 0.4930564056}), reach=(5e-8, 5e-8)),
    Row("S10", Surface(Sinusoidal(0.06 * UM), 0.5 * UM, constant(0.18 + 2.93j),
                       coating=((constant(1.4), 0.03 * UM),)), 0.25, 0.1,
        ({-2: 0.022377223740, -1: 0.296983162443, 0: 0.268029872771, 1: 0.289376607829},
         {-2: 0.025202295874, -1: 0.325617498486, 0: 0.201870547684, 1: 0.310135496800})),
)  # fmt: skip

D6 = 1 / 1.2
ECHELETTES = (
    Row("E1", echelette(1, 0.5, None), 1, 0.5, ({-1: 0.596311812268}, {-1: 1.0}),
        reach=(1e-7, 1e-7), tolerance=1e-7),
    Row("E2", echelette(1, 0.3, None), 0.6, 0.3,
        ({-2: 0.0041309253, -1: 0.7444918599, 0: 0.1445967066, 1: 0.1067805082}, {-1: 1.0}),
        reach=(1e-7, 1e-7), tolerance=1e-7),
    Row("E3", echelette(1, 0.3, None), 0.3, 0.3,
        ({-4: 0.0015385457, -3: 0.0047727628, -2: 0.8175444701, -1: 0.0454934028,
          0: 0.0796380819, 1: 0.0106003516, 2: 0.0404123851}, {-2: 1.0}),
        reach=(1e-7, 1e-7), tolerance=1e-7),
    Row("E4", echelette(1, 0.3, None), 0.8, 0.4,
        ({-1: 0.441936764, 0: 0.558063236}, {-1: 0.95008424, 0: 0.04991576}),
        reach=(1e-7, 2e-7), tolerance=1e-7),
    Row("E5", echelette(1, 0.3, None), 0.45, 0,
        ({-2: 0.0440754364, -1: 0.7909382968, 0: 0.0598463529, 1: 0.0428292122, 2: 0.0623107016},
         {-2: 0.152020346371, -1: 0.656068389382, 0: 0.086981902910, 1: 0.096284040839,
          2: 0.008645320499}), reach=(1e-7, 2e-7), tolerance=1e-7),
    Row("E6 413 nm", echelette(D6, 0.3, 0.52135 + 5.0008j), 0.41328, 0.6 * 0.41328,
        ({-2: 0.0357545874, -1: 0.7890080811, 0: 0.0159560599, 1: 0.0803637716},
         {-2: 0.1128588077, -1: 0.6795217242, 0: 0.0569130509, 1: 0.0391707668}),
        reach=(1e-7, 2e-7), tolerance=1e-6),
    Row("E6 620 nm", echelette(D6, 0.3, 1.366 + 7.4052j), 0.61993, 0.6 * 0.61993,
        ({-1: 0.4749888195, 0: 0.4325789813}, {-1: 0.8389002762, 0: 0.0443684075}),
        reach=(1e-7, 2e-7), tolerance=1e-6),
    Row("E6 689 nm", echelette(D6, 0.3, 1.8301 + 8.0601j), 0.68881, 0.6 * 0.68881,
        ({-1: 0.3768626020, 0: 0.5216290507}, {-1: 0.8572888460, 0: 0.0109041924}),
        reach=(1e-7, 2e-7), tolerance=1e-6),
    Row("E7", echelette(3, math.sin(math.asin(0.8) / 2), 1.5), 0.6, 0.05,
        ({-4: 0.0320770375, 0: 0.0016307568}, {-4: 0.0198170160, 0: 0.0000413072}),
        ({-4: 0.0630264885, -3: 0.0435722613, -2: 0.0371166538, -1: 0.0088969005,
          0: 0.0030963571, 1: 0.6833024461, 2: 0.0630406235, 3: 0.0204025658},
         {-4: 0.0334458767, -3: 0.1022321122, -2: 0.0500099259, -1: 0.0179956705,
          0: 0.0009744041, 1: 0.6868235178, 2: 0.0573893505, 3: 0.0122149599}),
        reach=(5e-8, 5e-8), tolerance=1e-6),
    Row("E7 grazing", echelette(3, math.sin(math.asin(0.8) / 2), 1.5), 0.6, 0,
        ({0: 0.0016525693}, {0: 0.0000500821}),
        ({0: 0.0010824810, 1: 0.6507200515, 2: 0.0678961046},
         {0: 0.0006934616, 1: 0.6620171308, 2: 0.0658023110}), reach=(1e-5, 1e-5),
        tolerance=1e-5),
    Row("E8 blaze", echelette(20, 0.025, None), 1, 0.025, ({-1: 0.97865}, {-1: 1.0}),
        reach=(1e-5, 1e-5), tolerance=1e-5),
)  # fmt: skip
