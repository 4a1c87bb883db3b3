"""Physical constants, each with its unit and origin.

The exact ones are fixed by the SI Brochure (9th edition, 2019).
"""

PLANCK_J_S = 6.62607015e-34  # SI, exact
LIGHT_SPEED_M_S = 299_792_458.0  # SI, exact
BOLTZMANN_J_K = 1.380649e-23  # SI, exact
ATOMIC_MASS_KG = 1.66053906660e-27  # CODATA 2018

LUMINOUS_EFFICACY_LM_W = 683.0  # Kcd, SI Brochure: at 540 THz (555.017 nm in air)

# of the disc of nominal radius 6.957e8 m (IAU 2015 resolution B3) at one astronomical unit,
# 149,597,870,700 m (IAU 2012 resolution B2)
SUN_SOLID_ANGLE_SR = 6.794311e-5

SATURATION_EXPOSURE_LX_S = 78.0  # white at ISO arithmetic speed S is H = 78 / S (ISO 12232)

VISIBLE_LO_M = 360e-9  # range of the CIE colour-matching functions
VISIBLE_HI_M = 830e-9
