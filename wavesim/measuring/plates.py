"""The usual ways in: a plate or a file to a table of wavelengths, and references on a plate."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from wavesim.errors import InputError
from wavesim.measuring.character import without_lines
from wavesim.measuring.instrument import Instrument, of_scene
from wavesim.measuring.lists import line_list
from wavesim.measuring.measuring import Task, measure_profile
from wavesim.measuring.peaks import Feature, Kind, find_lines
from wavesim.measuring.profile import Profile, from_plate
from wavesim.measuring.result import Measurement
from wavesim.measuring.scans import Scan, read_picture
from wavesim.measuring.solving import (
    Reference,
    SolvedInstrument,
    disagreement,
    recognise,
    solve,
)

if TYPE_CHECKING:
    from wavesim.plate import Plate
    from wavesim.scene import Scene

_PICTURES = (".png", ".tif", ".tiff", ".jpg", ".jpeg", ".bmp")
_ABOUT_LASER = 0.02  # of its wavelength: a bench may be that far off
_LOOK_M = 1e-9  # about a known wavelength, where it was not pointed out
_POINTED_M = 2e-4  # about the position where it was
_MOST_CHOICES = 128


@dataclass(frozen=True)
class Known:
    """A known line to be found on a plate.

    Attributes
    ----------
    wavelength_m : [m] in standard air
    order : m
    near_m : [m] x near which it stands, where it was pointed out
    name : for messages
    """

    wavelength_m: float
    order: int = 1
    near_m: float | None = None
    name: str = ""


def measure(
    source: Plate | Profile | str | Path,
    task: Task | None = None,
    *,
    instrument: Instrument | None = None,
    scan: Scan | None = None,
) -> Measurement:
    """Measure a plate, a profile, or a file of either kind or of a picture.

    Parameters
    ----------
    source : a plate (exposed or opened), a profile, or the name of a plate file (.h5), a picture
        (.png, .tif ...; needs `scan`) or a CSV profile
    task : what to look for; by default what suits the source of a plate's scene: dark lines of
        the Sun, bright lines of a lamp named after its list
    instrument : pitch, focal length, angles; by default those of a plate's scene
    scan : scale and encoding of a picture, or the pixel of a CSV profile

    Raises
    ------
    InputError
        The file cannot be read, an instrument is needed and not given, or no line stands out.
    """
    profile, scene = read(source, scan)
    if instrument is None and scene is not None:
        instrument = of_scene(scene)
    if instrument is None:
        raise InputError(
            "does not describe the grating", key=profile.origin,
            expected="an instrument: pitch, camera's focal length and angles",
        )  # fmt: skip
    return measure_profile(profile, instrument, task or usual_task(scene))


def read(
    source: Plate | Profile | str | Path, scan: Scan | None = None
) -> tuple[Profile, Scene | None]:
    """The profile of anything that can be measured, and the scene where it brings one."""
    if isinstance(source, Profile):
        return source, None
    if not isinstance(source, (str, Path)):
        return from_plate(source), source.scene
    path = Path(source)
    if path.suffix.lower() in _PICTURES:
        if scan is None:
            raise InputError(
                "a picture carries no scale", key=str(path),
                expected="the size of a pixel on the plate",
            )  # fmt: skip
        return read_picture(path, scan), None
    if path.suffix.lower() in (".csv", ".txt", ".tsv"):
        from wavesim.measuring.csvfiles import read_profile

        pixel = None if scan is None else scan.pixel_m
        image = 0.0 if scan is None else scan.slit_image_m
        return read_profile(path, pixel_m=pixel, slit_image_m=image), None
    from wavesim import store

    plate = store.load(path)
    return from_plate(plate), plate.scene


def usual_task(scene: Scene | None) -> Task:
    """Dark lines where the source is the Sun, else bright ones; the lamp's own list."""
    if scene is None:
        return Task()
    from wavesim import light
    from wavesim.scene import Slits, Wires

    light_m = _mean_wavelength(scene) if isinstance(scene.aperture, Slits | Wires) else math.nan
    cautions = light.cautions(scene.source)
    if scene.source.kind == "sun":
        return Task(kind="dark", element="sun", range_m=(380e-9, 780e-9), light_m=light_m,
                    cautions=cautions)  # fmt: skip
    if scene.source.kind == "laser":
        low, high = (
            (1 - _ABOUT_LASER) * scene.source.wavelength_m,
            (1 + _ABOUT_LASER) * scene.source.wavelength_m,
        )
        return Task(range_m=(low, high), light_m=light_m, cautions=cautions)
    return Task(element=getattr(scene.source, "element", None), light_m=light_m, cautions=cautions)


def _mean_wavelength(scene: Scene) -> float:
    """Mean wavelength of fringes' light, 360 to 830 nm [m]: power by 1/lambda, as peaks have it."""
    from wavesim import light

    edges = np.linspace(360e-9, 830e-9, 471)
    power, centroid = light.of_scene(scene).integrate(edges[:-1], edges[1:])
    return float(np.average(centroid, weights=power / centroid)) if power.sum() > 0 else math.nan


def with_distortion_error(instrument: Instrument, profile: Profile, at_edge: float) -> Instrument:
    """The instrument with an unknown distortion of its lens allowed for.

    Parameters
    ----------
    at_edge : standard uncertainty of a distance from the axis at the profile's farther end, over it
    """
    edge = float(np.abs(profile.x_m - instrument.origin_m).max()) / instrument.focal_m
    uncertainties = replace(instrument.uncertainties, distortion=at_edge / max(edge, 1e-9) ** 2)
    return replace(instrument, uncertainties=uncertainties)


def shows_lines(profile: Profile, instrument: Instrument, kind: Kind = "bright") -> bool:
    """Whether what stands out on a profile may be spectral lines; see `character`."""
    return not without_lines(find_lines(profile, kind), instrument)


def find_references(
    profile: Profile,
    instrument: Instrument,
    known: tuple[Known, ...],
    *,
    kind: Kind = "bright",
    unknown: tuple[str, ...] = ("pitch",),
) -> tuple[Reference, ...]:
    """The lines on the plate that known wavelengths are.

    Each is looked for where the instrument puts it, within 1 nm, or within 0.2 mm of where it was
    pointed out. Where several lines come into question, those are taken that agree with one
    another best once the unknowns are solved for; strength decides what that leaves open.

    Raises
    ------
    InputError
        No line stands where a known one should be.
    """
    features = find_lines(profile, kind)
    candidates = [_candidates(features, instrument, k, kind) for k in known]
    best: tuple[Reference, ...] = tuple(c[0][0] for c in candidates)
    if len(known) <= len(unknown):
        return best
    best_cost = math.inf
    for chosen in itertools.islice(itertools.product(*candidates), _MOST_CHOICES):
        references = tuple(r for r, _ in chosen)
        cost = disagreement(references, instrument, unknown) + sum(c for _, c in chosen)
        if cost < best_cost:
            best, best_cost = references, cost
    return best


def _candidates(
    features: tuple[Feature, ...], instrument: Instrument, known: Known, kind: Kind
) -> list[tuple[Reference, float]]:
    """Up to four lines that may be a known one, the likeliest first, each with its cost."""
    if known.near_m is None:
        position = float(instrument.position_m(known.wavelength_m, known.order))
        per_m = (
            abs(instrument.dispersion(position, known.order)) if math.isfinite(position) else 1.0
        )
        reach = _LOOK_M / per_m
    else:
        position, reach = known.near_m, _POINTED_M
    found = [f for f in features if abs(f.x_m - position) <= reach]
    if not found:
        raise InputError(
            "was not found on the plate at its position", key="reference",
            value=known.name or f"{known.wavelength_m * 1e9:.3f} nm",
            expected=f"a {kind} line within {reach * 1e3:.3g} mm of x = {position * 1e3:.4g} mm",
        )  # fmt: skip
    found.sort(key=lambda f: -_weight(f, position, reach))
    top = _weight(found[0], position, reach)
    return [
        (
            Reference(f.x_m, known.wavelength_m, known.order, f.x_error_m, name=known.name),
            -2 * math.log(_weight(f, position, reach) / top),
        )
        for f in found[:4]
    ]


def _weight(feature: Feature, position_m: float, reach_m: float) -> float:
    return feature.height * math.exp(-2 * ((feature.x_m - position_m) / reach_m) ** 2)


def solve_plate(
    profile: Profile,
    start: Instrument,
    element: str,
    unknown: tuple[str, ...] = ("focal", "origin"),
    *,
    order: int = 1,
) -> SolvedInstrument:
    """Scale and origin (or what else is unknown) from a lamp's lines alone, none pointed out.

    The pattern of the tallest lines is matched with the list (`recognise`), then all is solved by
    least squares. The start may be 25 % off in scale and anywhere in origin.
    """
    features = find_lines(profile, "bright")
    width = float(np.median([f.width_m for f in features])) if features else 0.0
    resolution = width * abs(start.dispersion(float(np.median(profile.x_m)), order))
    references = recognise(features, line_list(element, resolution), start, order=order)
    floor = 0.05 * profile.pixel_m
    sharper = tuple(replace(r, x_error_m=max(r.x_error_m, floor)) for r in references)
    return solve(sharper, start, unknown)
