"""wavesim: what an optical bench with a slit plate or grating puts on the plate.

    import wavesim

    scene = wavesim.load("scenes/slits_005.toml")
    plate = wavesim.expose(scene)
    plate.save("slits_005.h5")

The names below are imported when they are first used, so that `import wavesim` costs nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from wavesim.aperture.elements import Complexes
    from wavesim.errors import (
        ComputationError,
        InputError,
        LimitError,
        OutputError,
        PlateFileError,
        SceneError,
        TableError,
        WavesimError,
    )
    from wavesim.lightpath import ExposedPlate as Plate
    from wavesim.lightpath import expose, open_plate
    from wavesim.scene import Scene, load, parse

__version__ = "0.1.0"

__all__ = [
    "ComputationError",
    "InputError",
    "LimitError",
    "OutputError",
    "Plate",
    "PlateFileError",
    "Scene",
    "SceneError",
    "TableError",
    "WavesimError",
    "amplitude",
    "expose",
    "load",
    "open_plate",
    "parse",
]

_HOMES = {
    "Plate": ("wavesim.lightpath", "ExposedPlate"),
    "Scene": ("wavesim.scene", "Scene"),
    "expose": ("wavesim.lightpath", "expose"),
    "load": ("wavesim.scene", "load"),
    "open_plate": ("wavesim.lightpath", "open_plate"),
    "parse": ("wavesim.scene", "parse"),
}


def amplitude(scene: Scene, sines: ArrayLike, wavelength_m: float) -> Complexes:
    """Far-field amplitude of a scene's aperture at any directions, one wavelength.

        A = sum over elements  w_j E(u) exp(-2 pi i u x_j),   u = (sin alpha + sin beta) / lambda

    with E the amplitude of one element, w_j its weight in the beam and sin alpha the scene's
    incidence.

    Parameters
    ----------
    scene : from `load` or built in Python
    sines : (n,) sin(beta), in any order
    wavelength_m : [m] in the air of the bench

    Returns
    -------
    (n,) complex [m], per unit of the rulings' height; exact to 1e-12 of the peak. Scalar theory,
    far field.

    Raises
    ------
    LimitError
        The beam misses every element.
    """
    import math

    import numpy as np

    from wavesim import aperture, farfield

    built = aperture.build(scene)
    sine_in = math.sin(scene.bench.alpha_rad)
    return farfield.amplitude(built, sine_in, np.asarray(sines, dtype=np.float64), wavelength_m)


def __getattr__(name: str) -> object:
    if name not in __all__:
        raise AttributeError(f"module 'wavesim' has no attribute {name!r}")
    module, original = _HOMES.get(name, ("wavesim.errors", name))
    value = getattr(importlib.import_module(module), original)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
