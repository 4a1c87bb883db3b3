"""From a photograph back to the bench: values of a scene's keys that give what was photographed.

photograph   a picture or plate file -> `Pattern`: light along the dispersion, or from a centre
keys         the keys that are free, and the numbers that a search moves
model        a scene with values of its free keys -> the light that a photograph would hold
tone         unknown tone curve, gains and background, found beside the keys
search       start values, from no closer than a factor of two
squares      least squares over keys, positions, gains and backgrounds
outcome      standard errors, correlations, rival counts, misfit
fitted       what a fit gives back
whole        all of it, one step after the other
"""

from wavesim.fitting.fitted import Fit, Value
from wavesim.fitting.keys import FreeKey
from wavesim.fitting.photograph import Pattern, Reading, read_photograph
from wavesim.fitting.whole import fit

__all__ = ["Fit", "FreeKey", "Pattern", "Reading", "Value", "fit", "read_photograph"]
