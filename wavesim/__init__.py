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

from wavesim.version import __version__ as __version__

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from wavesim.arrays import Complexes
    from wavesim.ensemble import load_plan as load_study
    from wavesim.ensemble import member_scene, open_study, run_study
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
    from wavesim.lightpath import LightPath, expose, open_plate, preview
    from wavesim.scene import Scene, load, parse
    from wavesim.studies import (
        compare,
        diagnose,
        efficiency,
        fit,
        measure,
        point,
        predict,
        profile,
        tolerance,
    )
    from wavesim.study.visibility import visibility

__all__ = [
    "ComputationError",
    "InputError",
    "LightPath",
    "LimitError",
    "OutputError",
    "Plate",
    "PlateFileError",
    "Scene",
    "SceneError",
    "TableError",
    "WavesimError",
    "amplitude",
    "compare",
    "diagnose",
    "efficiency",
    "expose",
    "fit",
    "load",
    "load_study",
    "measure",
    "member_scene",
    "open_plate",
    "open_study",
    "parse",
    "point",
    "predict",
    "preview",
    "profile",
    "run_study",
    "tolerance",
    "visibility",
]

_HOMES = {
    "LightPath": ("wavesim.lightpath", "LightPath"),
    "Plate": ("wavesim.lightpath", "ExposedPlate"),
    "Scene": ("wavesim.scene", "Scene"),
    "compare": ("wavesim.studies", "compare"),
    "diagnose": ("wavesim.studies", "diagnose"),
    "efficiency": ("wavesim.studies", "efficiency"),
    "expose": ("wavesim.lightpath", "expose"),
    "fit": ("wavesim.studies", "fit"),
    "load": ("wavesim.scene", "load"),
    "load_study": ("wavesim.ensemble", "load_plan"),
    "measure": ("wavesim.studies", "measure"),
    "member_scene": ("wavesim.ensemble", "member_scene"),
    "open_plate": ("wavesim.lightpath", "open_plate"),
    "open_study": ("wavesim.ensemble", "open_study"),
    "parse": ("wavesim.scene", "parse"),
    "point": ("wavesim.studies", "point"),
    "predict": ("wavesim.studies", "predict"),
    "preview": ("wavesim.lightpath", "preview"),
    "profile": ("wavesim.studies", "profile"),
    "run_study": ("wavesim.ensemble", "run_study"),
    "tolerance": ("wavesim.studies", "tolerance"),
    "visibility": ("wavesim.study.visibility", "visibility"),
}


def amplitude(
    scene: Scene, sines: ArrayLike, wavelength_m: float, *, rises: ArrayLike = 0.0
) -> Complexes:
    """Far-field amplitude of a scene's aperture at any directions, one wavelength.

        A = sum over elements  w_j E(u, v) exp(-2 pi i (u x_j + v y_j)),
        u = (sin alpha + sin beta) / lambda,   v = rise / lambda

    with E the amplitude of one element, w_j its weight in the beam and sin alpha the scene's
    incidence.

    Parameters
    ----------
    scene : from `load` or built in Python
    sines : (n,) sin(beta), in any order
    wavelength_m : [m] in the air of the bench
    rises : (n,) or () sine of the direction along the rulings, upwards

    Returns
    -------
    (n,) complex: of rulings [m], per unit of their height, exact to 1e-12 of the peak; of an
    aperture in the plane [m2]. Scalar theory, far field.

    Raises
    ------
    LimitError
        The beam misses every element, or the plate is not in the far field.
    InputError
        A wavelength that is none, or directions that are not numbers.
    """
    import math

    import numpy as np

    from wavesim import aperture
    from wavesim.aperture.plane import build_plane
    from wavesim.diffraction import far
    from wavesim.diffraction.planar import plane_amplitude
    from wavesim.errors import InputError, LimitError
    from wavesim.scene import Plane, require_scene

    require_scene(scene)
    sine, rise = np.asarray(sines, dtype=np.float64), np.asarray(rises, dtype=np.float64)
    if not (0 < wavelength_m < math.inf and np.isfinite(sine).all() and np.isfinite(rise).all()):
        problem = "amplitude needs a wavelength above 0 m and finite sines"
        raise InputError(problem, key="wavelength_m", value=wavelength_m)
    if not scene.bench.far_field:
        expected = "collimator and camera, without defocus and aberrations"
        raise LimitError(
            "gives no far field, which amplitude needs", key="bench", expected=expected
        )
    sine_in = math.sin(scene.bench.alpha_rad)
    if isinstance(scene.aperture, Plane):
        u, v = (sine_in + sine) / wavelength_m, rise / wavelength_m
        return plane_amplitude(build_plane(scene), u, v, wavelength_m=wavelength_m)
    ruled = aperture.build(scene)
    if ruled.chords:
        return far.amplitude_in_round_beam(ruled, sine_in, sine, rise, wavelength_m)
    across = far.amplitude(ruled, sine_in, sine, wavelength_m)
    along = ruled.along.amplitude(rise / wavelength_m) / ruled.height_m
    return np.asarray(across * along)


def __getattr__(name: str) -> object:
    if name == "live":  # a package that can be called: the bench in a notebook
        return importlib.import_module("wavesim.live")
    if name not in __all__:
        raise AttributeError(f"module 'wavesim' has no attribute {name!r}")
    module, original = _HOMES.get(name, ("wavesim.errors", name))
    value = getattr(importlib.import_module(module), original)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__, "live"})
