"""From a photograph back to the bench: values of a scene's keys that give what was photographed.

exif         what a picture file says of itself
straighten   lines turned and spread in a picture
rings        rings in a picture: centre, ellipses
photograph   a picture or plate file -> `PhotographPattern`: light along x, or from a centre
keys         the keys that are free, and the numbers that a search moves
powder       the mean light of very many random dots
bench        a scene with values of its free keys -> the light that a photograph would hold
ghosts       periods of a ruling error that false lines propose
search       start values, from no closer than a factor of two
tone         unknown tone curve, found beside the keys
nuisances    what else is free for each photograph: position, slant, blur, gains, backgrounds
squares      least squares over keys and nuisances
fitted       what a fit gives back
remarks      what pictures cannot tell, in words
outcome      standard errors, correlations, rivals, residual
whole        all of it, one step after the other
"""

from wavesim.fitting.fitted import Fit, FittedPhotograph, FittedValue
from wavesim.fitting.keys import FreeKey
from wavesim.fitting.photograph import PhotographPattern, PhotographReading, read_photograph
from wavesim.fitting.whole import fit

__all__ = [
    "Fit",
    "FittedPhotograph",
    "FittedValue",
    "FreeKey",
    "PhotographPattern",
    "PhotographReading",
    "fit",
    "read_photograph",
]
