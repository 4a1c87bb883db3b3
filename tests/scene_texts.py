"""Good scenes for the tests, as plain tables: every key of the format stands in one of them."""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator, Mapping

import pytest

from wavesim.errors import InputError
from wavesim.scene import parse
from wavesim.scene.messages import toml_text

FILE = "bench.toml"
Table = dict[str, object]
GONE = object()  # given to `edited` to leave a key out

_SLIT = {"width": "20 um", "height": "4 mm"}
_PLATE: Table = {"width": "60 mm", "height": "8 mm", "pixel": "10 um", "centre": "5 mm"}
_LENSES: Table = {"collimator": "600 mm", "camera": "1 m"}
_SLITS: Table = {"kind": "slits", "count": 6, "width": "40 um", "pitch": "90 um", "height": "9 mm"}
_SUN: Table = {"kind": "sun", "slit": _SLIT}
_GRATING: Table = {"kind": "grating", "count": 15_000, "density": "600 / mm", "height": "20 mm"}


def _scene(
    source: Table = _SUN, bench: Table = _LENSES, aperture: Table = _SLITS, **more: object
) -> Table:
    tables = {"source": source, "bench": bench, "aperture": aperture, "plate": _PLATE}
    return copy.deepcopy({"schema": 1, "title": "Harbour School bench", **tables, **more})


def _filtered(**keys: object) -> Table:
    return _scene(source={**_SUN, "filters": [keys]})


def _grooved(profile: str, **keys: object) -> Table:
    return _scene(aperture={**_GRATING, "groove": {"profile": profile, **keys}})


def _faulty(kind: str, base: Table = _GRATING, **keys: object) -> Table:
    return _scene(aperture={**base, "defects": [{"kind": kind, **keys}]})


def _source(kind: str, **keys: object) -> Table:
    return _scene(source={"kind": kind, "slit": _SLIT, **keys})


_BLAZED = {"profile": "blazed", "facet_angle": "8.6 deg", "index": 1.52}
_FIELDS: Table = {"stop": {"diameter": "10 mm"}, "obstacle": True}
_PLACES = [{"x": "-1 mm"}, {"x": "1 mm", "y": "2 mm"}]

GOOD: dict[str, Table] = {
    "sun": _source("sun", air="ground", lines=True, telluric=False, luminance="1.6e9 cd/m^2"),
    "afternoon": _source("sun", height="30 deg"),
    "evening": _source("sun", air_mass=5.6),
    "sun's disc": _scene(source={"kind": "sun", "disc": "32 arcmin"}),
    "black body": _source("blackbody", temperature="2856 K"),
    "illuminant": _scene(source={"kind": "illuminant", "name": "D65", "illuminance": "10 klx"}),
    "lamp": _source("lamp", element="Na", temperature="550 K", pressure="1 kPa", reversal=2),
    "laser": _scene(
        source={
            "kind": "laser", "wavelength": "632.8 nm", "linewidth": "0.1 pm", "power": "1 mW"
        }
    ),
    "led": _source("led", wavelength="525 nm", width="30 nm", luminance="1e5 cd/m^2"),
    "band": _source("band", centre="550 nm", width="100 nm"),
    "table": _source("table", file="lamp.csv"),
    "bandpass": _filtered(kind="bandpass", centre="650 nm", width="10 nm", transmittance="80 %"),
    "longpass": _filtered(kind="longpass", edge="550 nm", width="5 nm", transmittance=0.9),
    "shortpass": _filtered(kind="shortpass", edge="500 nm", width="5 nm", transmittance=0.9),
    "neutral density": _filtered(kind="neutral", density=0.6),
    "neutral": _filtered(kind="neutral", transmittance="25 %"),
    "filter table": _filtered(kind="table", file="green.csv"),
    "angles": _scene(bench={**_LENSES, "incidence": "15 deg", "viewing": "-10 deg"}),
    "turned": _scene(bench={**_LENSES, "included_angle": "30 deg", "turn": "12 deg"}),
    "beam": _scene(bench={**_LENSES, "beam": "40 mm"}),
    "gaussian beam": _scene(
        bench={**_LENSES, "beam": {"diameter": "40 mm", "profile": "gaussian"}}
    ),
    "turned slit": _scene(source={**_SUN, "slit": {**_SLIT, "turn": "1 deg"}}),
    "slit like a wedge": _scene(source={**_SUN, "slit": {**_SLIT, "jaws": "0.05 deg"}}),
    "single lens": _scene(
        bench={
            **_LENSES,
            "collimator_lens": {"glass": "fused silica"},
            "camera_lens": {"glass": "crown glass", "sharp": "546.1 nm"},
        }
    ),
    "lens with a rim": _scene(
        bench={**_LENSES, "camera_lens": {"diameter": "30 mm", "distance": "200 mm"}}
    ),
    "beam aside": _scene(bench={**_LENSES, "beam": {"diameter": "20 mm", "offset": "-3 mm"}}),
    "achromat": _scene(bench={**_LENSES, "camera_lens": {"residual": "0.05 %"}}),
    "turned plate": _scene(bench={**_LENSES, "plate_tilt": "3 deg", "plate_tip": "-2 deg"}),
    "near field": _scene(bench={"source_distance": "2 m", "plate_distance": "3 m"}),
    "blurred": _scene(
        bench={
            **_LENSES,
            "defocus": "3 mm",
            "air": {
                "temperature": "20 degC", "pressure": "100 kPa", "humidity": "50 %",
                "co2": "450 ppm",
            },
            "aberrations": {
                "wavelength": "550 nm", "radius": "20 mm", "spherical": "0.25 waves",
                "coma": "140 nm", "coma_angle": "90 deg", "astigmatism": "-0.5 waves",
                "astigmatism_angle": "45 deg",
            },
        }
    ),
    "slits": _scene(aperture={**_SLITS, "outline": "ellipse"}),
    "one slit": _scene(aperture={"kind": "slits", "count": 1, "width": "40 um"}),
    "listed slits": _scene(
        aperture={
            "kind": "slits",
            "slits": [
                {"centre": "-90 um", "width": "40 um"}, {"centre": "0 um", "width": "60 um"},
            ],
        }
    ),
    "wires": _scene(
        aperture={"kind": "wires", "count": 50, "width": "30 um", "pitch": "90 um"}
    ),
    "grating": _scene(aperture=_GRATING),
    "grating by width": _scene(
        aperture={
            "kind": "grating", "ruled_width": "60 mm", "pitch": "0.8333 um",
            "mounting": "reflection", "reflectance": 0.9,
            "groove": {"profile": "blazed", "facet_angle": "18 deg"},
        }
    ),
    "metal grating": _scene(
        aperture={**_GRATING, "mounting": "reflection", "reflectance_file": "aluminium.csv"}
    ),
    "slit groove": _grooved("slit", width="0.8 um"),
    "as sold": _grooved("blazed", blaze="500 nm", blaze_order=2),
    "centred": _scene(bench={**_LENSES, "centre": {"wavelength": "589.3 nm", "order": 2}}),
    "blazed": _grooved("blazed", facet_angle="8.6 deg", index=1.52),
    "sinusoidal": _grooved("sinusoidal", depth="200 nm", index=1.52),
    "binary": _grooved("binary", depth="500 nm", duty=0.4, index=1.52),
    "trapezoidal": _grooved("trapezoidal", depth="300 nm", top=0.4, bottom=0.3, index=1.52),
    "multilevel": _grooved("multilevel", depth="750 nm", levels=4, index=1.52),
    "groove table": _grooved("table", file="groove.csv", index=1.52),
    "periodic": _faulty("periodic", amplitude="4 nm", period=96, phase="90 deg"),
    "periodic by length": _faulty("periodic", amplitude="4 nm", period="3 mm"),
    "random": _faulty("random", rms="3 nm", correlation="accumulated", seed=7),
    "random over a length": _faulty("random", rms="3 nm", correlation="2 mm"),
    "drift": _faulty("drift", linear=1e-5, quadratic=-1e-6, cubic=1e-7),
    "step": _faulty("step", size="150 nm", ruling=500),
    "step at a part": _faulty("step", size="-150 nm", fraction=0.25),
    "missing": _faulty("missing", rulings=[17, 18, 402]),
    "missing part": _faulty("missing", fraction=0.01, seed=3),
    "depth": _faulty(
        "depth", {**_GRATING, "groove": _BLAZED}, wear=0.2, rms=0.03, correlation="2 mm", seed=1
    ),
    "width": _faulty(
        "width", _SLITS, rms="0.5 um", growth="1 um", correlation="independent", seed=1
    ),
    "fan": _faulty("fan", angle="2 arcsec"),
    "bow": _faulty("bow", sag="50 nm"),
    "defect table": _faulty(
        "table", file="measured.h5", dataset="entry/error", quantity="wavefront", order=-1
    ),
    "disc": _scene(
        bench={**_LENSES, "beam": "40 mm"},
        aperture={"kind": "disc", "diameter": "0.5 mm", "places": _PLACES, **_FIELDS},
    ),
    "annulus": _scene(
        aperture={
            "kind": "annulus", "outer": "2 mm", "inner": "1 mm", "places": _PLACES, **_FIELDS
        }
    ),
    "ellipse": _scene(
        aperture={
            "kind": "ellipse", "width": "2 mm", "height": "1 mm", "turn": "30 deg",
            "places": _PLACES, **_FIELDS,
        }
    ),
    "rectangle": _scene(
        aperture={
            "kind": "rectangle", "width": "2 mm", "height": "1 mm", "turn": "30 deg",
            "places": _PLACES, "stop": {"width": "8 mm", "height": "9 mm"}, "obstacle": False,
        }
    ),
    "hexagon": _scene(
        aperture={
            "kind": "polygon", "sides": 6, "radius": "1 mm", "turn": "30 deg",
            "places": _PLACES, **_FIELDS,
        }
    ),
    "triangle": _scene(
        aperture={
            "kind": "polygon",
            "points": [
                {"x": "-1 mm", "y": "0 mm"}, {"x": "1 mm", "y": "0 mm"}, {"x": "0 mm", "y": "2 mm"}
            ],
        }
    ),
    "mesh": _scene(
        aperture={
            "kind": "mesh", "count_x": 50, "count_y": 40, "pitch_x": "90 um", "pitch_y": "80 um",
            "hole": {"kind": "rectangle", "width": "40 um", "height": "30 um", "turn": "5 deg"},
            "angle": "80 deg", "turn": "30 deg", "jitter": "1 um", "missing": 0.01, "seed": 5,
            **_FIELDS,
        }
    ),
    "round mesh": _scene(
        aperture={
            "kind": "mesh", "count_x": 5, "count_y": 4, "pitch_x": "90 um",
            "hole": {"kind": "disc", "diameter": "40 um"},
        }
    ),
    "dots": _scene(
        aperture={
            "kind": "dots", "count": 2000, "diameter": "30 um", "spread": 0.1, "seed": 11,
            "min_distance": "40 um", **_FIELDS,
        }
    ),
    "picture": _scene(
        aperture={
            "kind": "picture", "file": "mask.png", "cell": "10 um", "invert": True,
            "phase_file": "phase.png", "phase_depth": "550 nm", **_FIELDS,
        }
    ),
    "rigorous": _scene(
        source={"kind": "sun", "slit": _SLIT, "polarisation": "along",
                "filters": [{"kind": "polariser", "axis": "across"}]},
        aperture={
            **_GRATING, "mounting": "reflection", "material": "aluminium",
            "coating": {"material": "magnesium fluoride", "thickness": "25 nm"},
            "groove": {"profile": "blazed", "facet_angle": "8.6 deg", "back_angle": "72 deg",
                       "theory": "rigorous"},
        },
    ),
    "rigorous sinusoid": _scene(aperture={
        **_GRATING, "mounting": "reflection", "material": "gold",
        "groove": {"profile": "sinusoidal", "depth": "180 nm", "theory": "rigorous"}}),
    "rigorous lamellae": _scene(aperture={
        **_GRATING, "mounting": "reflection", "material": "silver",
        "groove": {"profile": "binary", "depth": "180 nm", "theory": "rigorous"}}),
    "rigorous trapezoid": _scene(aperture={
        **_GRATING, "mounting": "reflection", "material": "chromium",
        "groove": {"profile": "trapezoidal", "depth": "120 nm", "top": 0.3, "bottom": 0.3,
                   "theory": "rigorous"}}),
    "rigorous levels": _scene(aperture={
        **_GRATING, "mounting": "transmission", "material": "fused silica",
        "groove": {"profile": "multilevel", "depth": "600 nm", "levels": 3,
                   "theory": "rigorous"}}),
    "rigorous table": _scene(aperture={
        **_GRATING, "mounting": "reflection", "material_file": "nk.csv",
        "groove": {"profile": "table", "file": "groove.csv", "theory": "rigorous"}}),
    "automatic": _scene(exposure={"time": "auto", "over": 1.5, "speed": 400, "balance": "none"}),
    "timed": _scene(exposure={"time": "1/30 s"}),
    "another observer": _scene(exposure={"observer": "cie1964_10deg"}),
    "sensor": _scene(exposure={"sensor": {"curves": "gaussian"}}),
    "sensor of a table": _scene(exposure={"sensor": {"curves": "table", "file": "camera.csv"}}),
    "film": _scene(exposure={"film": {"sensitivity": "orthochromatic"}}),
    "film of a table": _scene(exposure={"film": {"sensitivity": "table", "file": "film.csv"}}),
}  # fmt: skip


def text(scene: Mapping[str, object]) -> str:
    """The scene as TOML."""
    return "\n".join(f"{key} = {toml_text(value)}" for key, value in scene.items()) + "\n"


def edited(scene: Table, key: str, value: object) -> str:
    """TOML of the scene with one dotted key ("aperture.defects[0].period") set or left out."""
    twin = copy.deepcopy(scene)
    path, _, last_name = key.rpartition(".")
    *more, last = _steps(last_name)
    table = value_at(twin, path)
    for step in more:
        table = table[step]  # type: ignore[index]
    if value is GONE:
        del table[last]  # type: ignore[attr-defined]
    else:
        table[last] = value  # type: ignore[index]
    return text(twin)


def value_at(scene: object, key: str) -> object:
    """What stands at a dotted key."""
    for step in _steps(key):
        scene = scene[step]  # type: ignore[index]
    return scene


def _steps(key: str) -> list[str | int]:
    return [
        int(word[1:]) if word[0] == "[" else word for word in re.findall(r"\[\d+|[^.\[\]]+", key)
    ]


def leaves(value: object, key: str = "") -> Iterator[tuple[str, object]]:
    """Every (dotted key, value) of a scene that is not a table."""
    if isinstance(value, dict):
        for name, inner in value.items():
            yield from leaves(inner, f"{key}.{name}".lstrip("."))
    elif isinstance(value, list) and value and isinstance(value[0], dict):
        for number, inner in enumerate(value):
            yield from leaves(inner, f"{key}[{number}]")
    else:
        yield key, value


def tables(value: object, key: str = "") -> Iterator[str]:
    """The dotted key of every table of a scene, the scene itself ("") first."""
    if isinstance(value, dict):
        yield key
        for name, inner in value.items():
            yield from tables(inner, f"{key}.{name}".lstrip("."))
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            yield from tables(inner, f"{key}[{number}]")


def refusal(toml: str) -> InputError:
    """The error that the text raises, after the checks that hold for all of them."""
    with pytest.raises(InputError) as caught:
        parse(toml, file=FILE)
    error = caught.value
    assert error.exit_status == 2
    assert str(error).startswith(f"{FILE}: ")
    assert "\n" not in str(error)
    return error
