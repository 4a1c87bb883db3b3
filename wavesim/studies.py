"""The studies of the command line, in Python, with the same words and the same units.

    import wavesim

    scene = wavesim.load("scenes/slits_005.toml")
    wavesim.predict(scene)
    plate = wavesim.expose(scene)
    wavesim.point(plate, "9.3 mm")

A quantity is a text with its unit, as in a scene file and on the command line, or a number in SI
units. The functions with every option, in SI units alone, are those of `wavesim.study` and
`wavesim.measuring`. Results show their sentences and tables; see `wavesim.results`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wavesim.errors import InputError
from wavesim.scene import Scene, require_scene

if TYPE_CHECKING:
    from wavesim.fitting import Fit
    from wavesim.measuring import Measurement
    from wavesim.measuring.diagnosis import Diagnosis
    from wavesim.plate import Plate
    from wavesim.study.compare import FormulaComparisons
    from wavesim.study.efficiency import Efficiency
    from wavesim.study.point import PlatePoint
    from wavesim.study.predict import Prediction
    from wavesim.study.profile import LineProfile
    from wavesim.study.tolerance import Tolerance

Quantity = str | float
_PLATES = (".h5", ".hdf5", ".nxs")


def predict(
    scene: Scene,
    *,
    wavelength: Quantity | Sequence[Quantity] = (),
    order: int | Sequence[int] = (),
    ghosts_above: float = 1e-6,
) -> Prediction:
    """What a scene will show, from formulas alone; see `wavesim.study.predict.predict`.

    Parameters
    ----------
    wavelength : in air, one or several: "546.1 nm"; default the source's own
    order : to list, one or several; default all, or those on the plate
    ghosts_above : weakest ghost to list, as a fraction of its line

    Raises
    ------
    LimitError
        Unequal slits, or an order that does not propagate.
    """
    require_scene(scene)
    from wavesim.study import predict as study

    chosen = (wavelength,) if isinstance(wavelength, str | float | int) else wavelength
    return study.predict(
        scene,
        wavelengths_m=tuple(_si("wavelength", text, "length", "546.1 nm") for text in chosen),
        orders=(order,) if isinstance(order, int) else tuple(order),
        ghosts_above=ghosts_above,
    )


def point(plate: Plate, x: Quantity | None = None, *, angle: Quantity | None = None) -> PlatePoint:
    """Why a point on a plate has its colour; see `wavesim.study.point.explain`.

    Parameters
    ----------
    x : position on the plate from the camera's axis: "9.3 mm"
    angle : diffraction angle, instead of x: "0.53 deg"

    Raises
    ------
    InputError
        Both or neither are given, or the point is not on the plate.
    """
    from wavesim.plate import require_plate
    from wavesim.study.point import explain, position_of_angle

    require_plate(plate)
    if (x is None) == (angle is None):
        raise InputError("needs a position or an angle", key="x", expected='x="9.3 mm"')
    if x is None:
        x = position_of_angle(plate, _si("angle", angle or 0.0, "angle", "0.53 deg"))
    return explain(plate, _si("x", x, "length", "9.3 mm"))


def profile(
    scene: Scene, *, wavelength: Quantity | None = None, order: int = 1, span: float = 1.0
) -> LineProfile:
    """The profile of one line over ten decades; see `wavesim.study.profile.line_profile`.

    Parameters
    ----------
    wavelength : in air; default the strongest or middle one of the source
    span : width of the scan [orders]

    Raises
    ------
    LimitError
        No equal rulings, or an order that does not propagate or is missing.
    """
    require_scene(scene)
    from wavesim.study.profile import line_profile

    return line_profile(
        scene, wavelength_m=_wavelength(scene, wavelength), order=order, span_orders=span
    )


def tolerance(
    scene: Scene,
    *,
    ghost: float | None = None,
    diffuse: float | None = None,
    resolving_power: float | None = None,
    wavelength: Quantity | None = None,
    order: int = 1,
    period: float | None = None,
    workers: int = 1,
) -> Tolerance:
    """How large each error of a ruling may be; see `wavesim.study.tolerance.tolerance`.

    Parameters
    ----------
    ghost : strongest ghost allowed, as a fraction of its line
    diffuse : diffuse light allowed, as a fraction of the line's light
    resolving_power : least resolving power; at least one of the three is needed
    period : of periodic errors [rulings]; default the scene's, or 100
    workers : processes that share the simulations

    Raises
    ------
    LimitError
        No limit, order 0, or more than the perfect ruling resolves.
    """
    require_scene(scene)
    from wavesim.ensemble.engine import mapped
    from wavesim.study import tolerance as study

    limits = study.Limits(ghost, diffuse, resolving_power)
    with mapped(workers) as mapping:
        return study.tolerance(
            scene,
            limits,
            wavelength_m=_wavelength(scene, wavelength),
            order=order,
            period=period,
            mapping=mapping,
        )


def compare(
    scene: Scene,
    *,
    tolerance: float = 0.01,
    only: str | Sequence[str] = (),
    vary: str | None = None,
    values: Sequence[Quantity] = (),
    steps: int = 13,
    workers: int = 1,
) -> FormulaComparisons:
    """Textbook formulas against the exact computation; see `wavesim.study.compare.compare`.

    Parameters
    ----------
    tolerance : error from which a formula counts as failing
    only : names of the formulas to compare
    vary : key of the scene to vary instead of each formula's own parameter
    values : its values, as in the file
    steps : values of each formula's own parameter
    workers : processes that share the formulas

    Raises
    ------
    InputError
        An unknown formula, key or value.
    """
    require_scene(scene)
    from wavesim.ensemble.engine import mapped
    from wavesim.study import compare as study

    names = (only,) if isinstance(only, str) else tuple(only)
    with mapped(workers) as mapping:
        common: dict[str, Any] = {"tolerance": tolerance, "only": names, "mapping": mapping}
        if vary is not None:
            return study.vary(scene, vary, tuple(values), **common)
        return study.compare(scene, points=steps, **common)


def efficiency(
    scene: Scene,
    *,
    order: int | Sequence[int] = (),
    from_: Quantity = "380 nm",
    to: Quantity = "780 nm",
    wavelength: Quantity | None = None,
    turn: tuple[Quantity, Quantity] | None = None,
    conical: Quantity = "0 deg",
    points: int = 401,
    tolerance: float = 1e-3,
) -> Efficiency:
    """Efficiency of each order by rigorous theory; see `wavesim.study.efficiency.efficiency`.

    Parameters
    ----------
    order : to list, one or several; default the six brightest
    from_, to : range of wavelengths in air
    wavelength, turn : one wavelength instead, and a range of turns of the grating
    conical : angle of the light to the plane across the grooves
    points : of the curves
    tolerance : of truncation and interpolation

    Raises
    ------
    LimitError
        No grooves, or a material's table that does not cover the wavelengths.
    ComputationError
        The groove is deeper than the theory converges for.
    """
    require_scene(scene)
    from wavesim.study import efficiency as study

    turned = None
    if turn is not None:
        low, high = (_si("turn", end, "angle", "20 deg") for end in turn)
        turned = low, high
    return study.efficiency(
        scene,
        orders=(order,) if isinstance(order, int) else tuple(order),
        from_m=_si("from", from_, "length", "380 nm"),
        to_m=_si("to", to, "length", "780 nm"),
        wavelength_m=None
        if wavelength is None
        else _si("wavelength", wavelength, "length", "546.1 nm"),
        turn_rad=turned,
        conical_rad=_si("conical", conical, "angle", "10 deg"),
        points=points,
        tolerance=tolerance,
    )


def fit(
    scene: Scene,
    photographs: str | Path | Sequence[str | Path],
    free: str | Sequence[str],
    *,
    pixel: Quantity | None = None,
    scale: str | None = None,
    left_edge: Quantity | None = None,
    axis: Quantity | None = None,
    tone: str | float = "fitted",
) -> Fit:
    """From photographs back to the bench that made them; see `wavesim.fitting.fit`.

    Parameters
    ----------
    photographs : pictures (PNG, JPEG, TIFF) or plate files of this one bench
    free : "aperture.width", or with a range "aperture.width=20 um..60 um"; several as a list
    pixel : width of a picture's pixel on the plate; plate files tell their own
    scale : instead, two marks in the picture: "212..1180 = 50 mm", or columns of two lines,
        "212 = 435.83 nm, 1180 = 546.07 nm"
    left_edge, axis : where the picture begins on the plate and how it is turned; default: found
    tone : "fitted", "srgb", "linear", "film" (as `develop` has it) or an exponent

    Raises
    ------
    InputError
        A key that cannot be fitted, a picture without a pattern or without a scale.
    ComputationError
        No values give a pattern like the picture's.
    """
    require_scene(scene)
    from wavesim.fitting import PhotographReading
    from wavesim.fitting import fit as fitted

    files = [photographs] if isinstance(photographs, str | Path) else list(photographs)
    frees = [free] if isinstance(free, str) else list(free)
    marks = None if scale is None else _scale(scale, scene, frees)
    if pixel is None and marks is None and not _all_plates(files):
        raise InputError("is missing: a photograph has no scale of its own", key="pixel",
                         expected='the width of a pixel on the plate, such as "10 um"')  # fmt: skip
    reading = PhotographReading(
        pixel_m=1.0 if pixel is None else _si("pixel", pixel, "length", "10 um"),
        left_m=None if left_edge is None else _si("left_edge", left_edge, "length", "-30 mm"),
        tone=tone,
        axis_rad=None if axis is None else _si("axis", axis, "angle", "1.5 deg"),
    )
    if marks is not None:
        edge = marks[1] if reading.left_m is None else reading.left_m
        reading = replace(reading, pixel_m=marks[0], left_m=edge)
    return fitted(scene, files, frees, reading=reading)


def _scale(text: str, scene: Scene, free: list[str]) -> tuple[float, float | None]:
    from wavesim.fitting.scale import scale_of

    return scale_of(text, scene, free)


def _all_plates(files: list[str | Path]) -> bool:
    return all(Path(file).suffix.lower() in _PLATES for file in files)


def diagnose(*tables: str | Path, pitch: Quantity | None = None) -> Diagnosis:
    """Which errors a ruling has, from tables of its ghosts; see `wavesim.measuring.diagnosis`.

    Parameters
    ----------
    tables : CSV files, measured or written by `wavesim profile --ghosts`
    pitch : pitch "1.667 um" or density "600 / mm"; gives amplitudes as lengths

    Raises
    ------
    TableError
        A table that cannot be read, or that holds no ghosts.
    """
    from wavesim.measuring.diagnosis import diagnose, read

    pitch_m = math.nan if pitch is None else _pitch(pitch)
    return diagnose(read(*tables), pitch_m=pitch_m)


def measure(
    source: Plate | str | Path,
    *,
    dark: bool | None = None,
    element: str | None = None,
    order: int | None = None,
    least: float | None = None,
    density: Quantity | None = None,
    camera: Quantity | None = None,
    incidence: Quantity = 0.0,
    viewing: Quantity | None = None,
    pixel: Quantity | None = None,
) -> Measurement:
    """Lines of a plate, a plate file, a picture or a CSV profile; see `wavesim.measuring`.

    Parameters
    ----------
    dark, element, order, least : look for dark lines; line list; order of all lines; smallest line
    density, camera, incidence, viewing : grating and bench of a file that does not hold them
    pixel : width of a picture's pixel on the plate

    Raises
    ------
    InputError
        A file that cannot be read, no grating given, or no line.
    """
    from dataclasses import replace

    from wavesim import measuring
    from wavesim.measuring.plates import usual_task

    scan = None if pixel is None else measuring.Scan(_si("pixel", pixel, "length", "10 um"))
    instrument = None
    if density is not None and camera is not None:
        alpha = _si("incidence", incidence, "angle", "15 deg")
        instrument = measuring.Instrument(
            _pitch(density),
            _si("camera", camera, "length", "1 m"),
            alpha,
            -alpha if viewing is None else _si("viewing", viewing, "angle", "15 deg"),
        )
    scene = getattr(source, "scene", None)
    if scene is None and not isinstance(source, str | Path):
        raise InputError("is not a plate", key="source", expected="a plate or the name of a file")
    task = usual_task(scene or _scene_of(source))
    changes: dict[str, Any] = {"element": element, "order": order, "least": least}
    task = replace(task, **{key: value for key, value in changes.items() if value is not None})
    if dark is not None or element == "sun":
        task = replace(task, kind="bright" if dark is False else "dark")
    return measuring.measure(source, task, instrument=instrument, scan=scan)


def _scene_of(source: object) -> Scene | None:
    """The scene of a plate file; None for other files."""
    if str(source).lower().endswith((".h5", ".hdf5", ".nxs")):
        from wavesim.store import load_scene

        return load_scene(str(source))
    return None


def _wavelength(scene: Scene, given: Quantity | None) -> float:
    if given is not None:
        return _si("wavelength", given, "length", "546.1 nm")
    from wavesim.study.predict.wavelengths import usual_wavelength

    return usual_wavelength(scene)


def _si(key: str, value: Quantity, dimension: str, example: str) -> float:
    """A number in SI units as it is; a text with its unit turned into SI."""
    from wavesim.scene.quantities import a
    from wavesim.scene.units import UnitError, measure

    if not isinstance(value, str):
        return float(value)
    try:
        found = measure(value)
    except UnitError as error:
        raise InputError(
            str(error), key=key, value=value, expected=f'a value such as "{example}"'
        ) from None
    if found.dimension != dimension:
        problem = f"is not {a(dimension)}"
        raise InputError(problem, key=key, value=value, expected=f'"{example}"')
    return found.value


def _pitch(value: Quantity) -> float:
    """Pitch [m] of a pitch or a density."""
    from wavesim.scene.units import measure

    if isinstance(value, str) and measure(value).dimension == "lines per length":
        return 1 / measure(value).value
    return _si("pitch", value, "length", "1.667 um")
