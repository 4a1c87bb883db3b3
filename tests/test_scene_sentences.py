"""What a refusal must say: where (file, key or line), what was found, and what would be right.

The words around these facts are free to be improved.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.scene_texts import FILE, GONE, GOOD, edited, refusal, text
from wavesim.cli import main

_SUN, _SLITS, _RULED = GOOD["sun"], GOOD["slits"], GOOD["grating"]
_MISSPELT = edited(_SUN, "source.slit", {"widht": "20 um", "height": "4 mm"})

REFUSALS: dict[str, tuple[str, tuple[str, ...]]] = {
    "bare number": (
        edited(_SUN, "source.slit.width", 20),
        ("source.slit.width", "20", '"20 um"'),
    ),
    "wrong unit": (
        edited(_SLITS, "aperture.pitch", "30 deg"),
        ("aperture.pitch", '"30 deg"', '"90 um"'),
    ),
    "unknown unit": (
        edited(_SUN, "source.slit.width", "20 umm"),
        ("source.slit.width", '"20 umm"', '"umm"', '"um"', '"20 um"'),
    ),
    "negative": (
        edited(_SLITS, "aperture.width", "-40 um"),
        ("aperture.width", '"-40 um"', '"40 um"'),
    ),
    "huge count": (
        edited(_SLITS, "aperture.count", 10_000_001),
        ("aperture.count", "10000001", "10,000,000"),
    ),
    "misspelt key": (
        _MISSPELT,
        ("source.slit.widht", '"width"'),
    ),
    "key of another kind": (
        edited(_SLITS, "aperture.mounting", "reflection"),
        ("aperture.mounting", 'kind = "slits"', '"grating"', "height", "count", "width", "pitch"),
    ),
    "unknown kind": (
        edited(_SUN, "source.kind", "sum"),
        (
            "source.kind",
            '"sum"',
            '"sun"',
            '"blackbody"',
            '"illuminant"',
            '"lamp"',
            '"laser"',
            '"led"',
            '"band"',
            '"table"',
        ),
    ),
    "no kind": (
        edited(GOOD["blazed"], "aperture.groove.profile", GONE),
        (
            "aperture.groove.profile",
            '"slit"',
            '"blazed"',
            '"sinusoidal"',
            '"binary"',
            '"trapezoidal"',
            '"multilevel"',
            '"table"',
        ),
    ),
    "missing key": (
        edited(GOOD["laser"], "source.wavelength", GONE),
        ("source.wavelength", "360", "830 nm", 'wavelength = "632.8 nm"'),
    ),
    "missing table": (
        edited(_SUN, "plate", GONE),
        ("plate", "[plate]"),
    ),
    "several mistakes": (
        text({**_SUN, "bench": {"camera": 1, "collimator": 2}, "plate": {}}),
        ("bench.collimator", "2", '"600 mm"', "1", "camera", "width", "height"),
    ),
    "wrong choice": (
        edited(GOOD["gaussian beam"], "bench.beam.profile", "gausian"),
        ("bench.beam.profile", '"gausian"', '"uniform"', '"gaussian"'),
    ),
    "another version": (
        edited(_SUN, "schema", 2),
        ("schema", "2", "schema = 1"),
    ),
    "title": (
        edited(_SUN, "title", 6),
        ("title", "6"),
    ),
    "true": (
        edited(_SUN, "source.lines", 1),
        ("source.lines", "1"),
    ),
    "slits wider than the pitch": (
        edited(_SLITS, "aperture.pitch", "30 um"),
        ("aperture.width", '"40 um"', "30 um", "pitch"),
    ),
    "slits without pitch": (
        edited(_SLITS, "aperture.pitch", GONE),
        ("aperture.pitch", 'pitch = "90 um"'),
    ),
    "slits counted and listed": (
        edited(GOOD["listed slits"], "aperture.count", 2),
        ("aperture.count", "2", "slits", "width", "pitch"),
    ),
    "overlapping slits": (
        edited(GOOD["listed slits"], "aperture.slits[1].centre", "-60 um"),
        ("aperture.slits[1]", '"60 um wide at -60 um"', "[0]"),
    ),
    "no slits": (
        edited(GOOD["listed slits"], "aperture.slits", []),
        ("aperture.slits", "a list", "1"),
    ),
    "wires without gap": (
        edited(GOOD["wires"], "aperture.width", "90 um"),
        ("aperture.width", '"90 um"', "pitch"),
    ),
    "one wire": (
        edited(GOOD["wires"], "aperture.count", 1),
        ("aperture.count", "1", "2", "10,000,000"),
    ),
    "no density": (
        edited(_RULED, "aperture.density", GONE),
        ("aperture.density", "pitch", 'density = "600 / mm"'),
    ),
    "density and pitch": (
        edited(_RULED, "aperture.pitch", "2 um"),
        ("aperture.pitch", '"2 um"', "density"),
    ),
    "density as a length": (
        edited(_RULED, "aperture.density", "600 mm"),
        ("aperture.density", '"600 mm"', '"600 / mm"'),
    ),
    "count and width": (
        edited(_RULED, "aperture.ruled_width", "3 mm"),
        ("aperture.ruled_width", '"3 mm"', "count"),
    ),
    "too many rulings": (
        edited(GOOD["grating by width"], "aperture.ruled_width", "30 km"),
        ("aperture.ruled_width", '"30 km"', "3.60014e+10", "10,000,000"),
    ),
    "no ruling": (
        edited(GOOD["grating by width"], "aperture.ruled_width", "3 nm"),
        ("aperture.ruled_width", '"3 nm"', "833.3 nm", "pitch"),
    ),
    "groove wider than the pitch": (
        edited(GOOD["slit groove"], "aperture.groove.width", "3 um"),
        ("aperture.groove.width", '"3 um"', "1.66667 um", "pitch"),
    ),
    "index of a mirror": (
        edited(GOOD["binary"], "aperture.mounting", "reflection"),
        ("aperture.groove.index", "1.52", 'mounting = "transmission"'),
    ),
    "reflectance of a window": (
        edited(_RULED, "aperture.reflectance", 0.5),
        ("aperture.reflectance", "0.5", 'mounting = "reflection"'),
    ),
    "two reflectances": (
        edited(GOOD["metal grating"], "aperture.reflectance", 0.5),
        ("aperture.reflectance_file", '"aluminium.csv"'),
    ),
    "step after the last": (
        edited(GOOD["step"], "aperture.defects[0].ruling", 15_000),
        ("aperture.defects[0].ruling", "15000", "15,000", "14999"),
    ),
    "step in two places": (
        edited(GOOD["step"], "aperture.defects[0].fraction", 0.5),
        ("aperture.defects[0].fraction", "0.5"),
    ),
    "missing beyond the last": (
        edited(GOOD["missing"], "aperture.defects[0].rulings", [3, 16_000]),
        ("aperture.defects[0].rulings", "16000", "15,000", "15000"),
    ),
    "ruling nought": (
        edited(GOOD["missing"], "aperture.defects[0].rulings", [3, 0]),
        ("aperture.defects[0].rulings[1]", "10,000,000"),
    ),
    "all missing": (
        edited(
            {
                **GOOD["missing"],
                "aperture": {
                    **_SLITS["aperture"],  # type: ignore[dict-item]
                    "count": 2,
                    "defects": [  # type: ignore[dict-item]
                        {"kind": "missing", "rulings": [1, 2]}
                    ],
                },
            },
            "title",
            "",
        ),
        ("aperture.defects[0].rulings", "a list"),
    ),
    "missing what": (
        edited(GOOD["missing"], "aperture.defects[0].rulings", GONE),
        ("aperture.defects[0].rulings", "rulings = [17, 18]", "fraction = 0.01"),
    ),
    "depth of slits": (
        edited(GOOD["depth"], "aperture.groove", {"profile": "slit"}),
        ("aperture.defects[0].kind", '"depth"', '"width"', "slits"),
    ),
    "width error beyond the width": (
        edited(GOOD["width"], "aperture.defects[0].rms", "50 um"),
        ("aperture.defects[0]", "40 um", "50.5 um", "width"),
    ),
    "period of no kind": (
        edited(GOOD["periodic"], "aperture.defects[0].period", []),
        ("aperture.defects[0].period", "a list", "96", '"3 mm"'),
    ),
    "correlation of no kind": (
        edited(GOOD["random"], "aperture.defects[0].correlation", "some"),
        ("aperture.defects[0].correlation", '"some"', '"independent"', '"accumulated"', '"2 mm"'),
    ),
    "wavefront of no order": (
        edited(GOOD["defect table"], "aperture.defects[0].order", 0),
        ("aperture.defects[0].order",),
    ),
    "no camera": (
        edited(_SUN, "bench.camera", GONE),
        ("bench.camera", 'camera = "1 m"', 'plate_distance = "3 m"'),
    ),
    "camera and distance": (
        edited(_SUN, "bench.plate_distance", "3 m"),
        ("bench.plate_distance", '"3 m"', "camera", "defocus"),
    ),
    "collimator and distance": (
        edited(_SUN, "bench.source_distance", "3 m"),
        ("bench.source_distance", '"3 m"', "collimator"),
    ),
    "slit without collimator": (
        edited(_SUN, "bench.collimator", GONE),
        ("bench.collimator", "slit", 'collimator = "600 mm"', 'source_distance = "2 m"'),
    ),
    "defocus without lens": (
        edited(GOOD["near field"], "bench.defocus", "3 mm"),
        ("bench.defocus", '"3 mm"', "camera", 'camera = "1 m"'),
    ),
    "defocus into the lens": (
        edited(_SUN, "bench.defocus", "-1 m"),
        ("bench.defocus", '"-1 m"', "camera"),
    ),
    "turn alone": (
        edited(_SUN, "bench.turn", "3 deg"),
        ("bench.included_angle", "turn", 'included_angle = "30 deg"', 'turn = "12 deg"'),
    ),
    "turn and incidence": (
        edited(GOOD["turned"], "bench.incidence", "3 deg"),
        ("bench.incidence", '"3 deg"', "included_angle", "turn", "viewing"),
    ),
    "turned edge on": (
        edited(GOOD["turned"], "bench.turn", "80 deg"),
        ("bench.turn", '"80 deg"', "90", "incidence", "included_angle"),
    ),
    "viewing from behind": (
        edited(_SUN, "bench.viewing", "95 deg"),
        ("bench.viewing", '"95 deg"', "90 deg"),
    ),
    "plate beyond 90 degrees": (
        edited(_SUN, "bench.viewing", "89 deg"),
        ("plate.width", '"60 mm"', "91.0045 deg", "x = 35", "90 deg", "17.4551 mm"),
    ),
    "plate of no pixel": (
        edited(_SUN, "plate.pixel", "10 mm"),
        ("plate.height", '"8 mm"', "10 mm", "pixel"),
    ),
    "plate of too many columns": (
        edited(_SUN, "plate.pixel", "10 nm"),
        ("plate.width", '"60 mm"', "6,000,000 pixels", "10 nm", "1,000,000"),
    ),
    "plate of too many pixels": (
        text({**_SUN, "plate": {"width": "90 mm", "height": "90 mm", "pixel": "1 um"}}),
        ("plate.pixel", '"1 um"', "90,000", "8,100,000,000 pixels", "2,147,483,648"),
    ),
    "laser out of sight": (
        edited(GOOD["laser"], "source.wavelength", "1064 nm"),
        ("source.wavelength", '"1064 nm"', "360 nm", "830 nm"),
    ),
    "laser with luminance": (
        edited(GOOD["laser"], "source.illuminance", "3 lx"),
        ("source.illuminance", '"3 lx"', 'power = "1 mW"'),
    ),
    "band out of sight": (
        edited(GOOD["band"], "source.centre", "950 nm"),
        ("source.centre", '"950 nm"', "360", "830 nm"),
    ),
    "slit and disc": (
        edited(_SUN, "source.disc", "32 arcmin"),
        ("source.disc", '"32 arcmin"', "slit"),
    ),
    "luminance of a point": (
        edited(GOOD["illuminant"], "source.luminance", "3 cd/m^2"),
        ("source.luminance", '"3 cd/m^2"', "slit", "disc", "illuminance"),
    ),
    "illuminance of a slit": (
        edited(GOOD["led"], "source.illuminance", "3 lx"),
        ("source.illuminance", '"3 lx"', "slit", "disc"),
    ),
    "neutral of what": (
        edited(GOOD["neutral"], "source.filters[0].transmittance", GONE),
        ("source.filters[0].density", "density = 0.6"),
    ),
    "humidity as a number": (
        edited(GOOD["blurred"], "bench.air.humidity", 50),
        ("bench.air.humidity", "50", "1", '"50 %"'),
    ),
    "obstacle in no beam": (
        edited(
            {**GOOD["disc"], "bench": {"collimator": "1 m", "camera": "1 m"}}, "aperture.stop", GONE
        ),
        ("bench.beam", 'beam = "40 mm"', "[aperture]", "stop"),
    ),
    "annulus inside out": (
        edited(GOOD["annulus"], "aperture.inner", "2 mm"),
        ("aperture.inner", '"2 mm"', "outer"),
    ),
    "polygon of two sides": (
        edited(GOOD["hexagon"], "aperture.sides", 2),
        ("aperture.sides", "2", "3", "1,000"),
    ),
    "polygon without radius": (
        edited(GOOD["hexagon"], "aperture.radius", GONE),
        ("aperture.radius", "sides", "points", "sides = 6", 'radius = "1 mm"'),
    ),
    "polygon twice": (
        edited(GOOD["triangle"], "aperture.sides", 3),
        ("aperture.sides", "3", "points", "radius"),
    ),
    "polygon that crosses itself": (
        edited(
            GOOD["triangle"],
            "aperture.points",
            [{"x": f"{x} mm", "y": f"{y} mm"} for x, y in ((0, 0), (3, 3), (3, 0), (0, 2))],
        ),
        ("aperture.points", "a list", "1", "3", "sides"),
    ),
    "polygon on a line": (
        edited(
            GOOD["triangle"],
            "aperture.points",
            [{"x": f"{x} mm", "y": f"{x} mm"} for x in (0, 1, 2)],
        ),
        ("aperture.points", "a list"),
    ),
    "stop of two kinds": (
        edited(GOOD["dots"], "aperture.stop.width", "3 mm"),
        ("aperture.stop", 'diameter = "10 mm"', "width", "height"),
    ),
    "hole larger than its cell": (
        edited(GOOD["mesh"], "aperture.pitch_x", "10 um"),
        ("aperture.hole", "pitch_x", "pitch_y"),
    ),
    "mesh of too many holes": (
        edited(
            {
                **GOOD["mesh"],
                "aperture": {
                    **GOOD["mesh"]["aperture"],  # type: ignore[dict-item]
                    "count_x": 10_000,
                },
            },
            "aperture.count_y",
            10_000,
        ),
        ("aperture.count_y", "10000", "100,000,000", "10,000,000"),
    ),
    "dots too dense": (
        edited(GOOD["dots"], "aperture.min_distance", "1 mm"),
        ("aperture.min_distance", '"1 mm"', "20", "stop", "0.5"),
    ),
    "phase without depth": (
        edited(GOOD["picture"], "aperture.phase_depth", GONE),
        (
            "aperture.phase_depth",
            "phase_file",
            'phase_file = "phase.png"',
            'phase_depth = "550 nm"',
        ),
    ),
    "file without a name": (
        edited(GOOD["table"], "source.file", ""),
        ("source.file", '""', '"measured.csv"'),
    ),
    "stops beyond a time": (
        edited(GOOD["timed"], "exposure.over", 1),
        ("exposure.over", "1", 'time = "auto"'),
    ),
    "time without a level": (
        edited(GOOD["lamp"], "exposure", {"time": "1 s"}),
        ("exposure.time", '"1 s"', 'time = "auto"', "[source]", "luminance"),
    ),
    "time before a black body seen as a point": (
        edited(
            {**GOOD["timed"], "source": {"kind": "blackbody", "temperature": "2856 K"}}, "title", ""
        ),
        ("exposure.time", '"1/30 s"', 'time = "auto"', "[source]", "illuminance"),
    ),
    "time of no kind": (
        edited(GOOD["timed"], "exposure.time", "automatic"),
        ("exposure.time", '"automatic"', '"1/30 s"', '"auto"'),
    ),
    "syntax": (
        'schema = 1\ntitle = "Six\n',
        ("line 2", 'title = "Six'),
    ),
    "twice": (
        "schema = 1\nschema = 1\n",
        ("line 2", "schema = 1"),
    ),
    "quantity without quotes": (
        'schema = 1\nslit = { width = 20 um, height = "4 mm" }\n',
        ("line 2", 'slit = { width = 20 um, height = "4 mm" }', 'width = "20 um"'),
    ),
    "word without quotes": (
        "[source]\nkind = sun\n",
        ("line 2", "kind = sun", 'kind = "sun"'),
    ),
    "typographic quotes": (
        "[aperture]\nwidth = “40 um”\n",
        ("line 2", "width = “40 um”", '"40 um"'),
    ),
    "colon": (
        "[aperture]\ncount: 5\n",
        ("line 2", "count: 5", "count = 5"),
    ),
    "semicolon": (
        "[aperture]\ncount = 5;\n",
        ("line 2", "count = 5;"),
    ),
    "open bracket": (
        "schema = 1\n[aperture\ncount = 5\n",
        ("line 2", "[aperture", "[table]", "[[list]]"),
    ),
    "table twice": (
        "[plate]\n[bench]\n[plate]\n",
        ("line 3", "[plate]", "[[...]]"),
    ),
    "prose": (
        "Please show five slits.\n",
        ("line 1", "Please show five slits."),
    ),
    "molar for millimetre": (
        edited(_SUN, "plate.width", "60 MM"),
        ("plate.width", '"60 MM"', '"MM"', '"mm"', '"60 mm"'),
    ),
    "capitals": (
        edited(_SLITS, "aperture.width", "40 UM"),
        ("aperture.width", '"40 UM"', '"UM"', '"um"', '"40 um"'),
    ),
    "grad": (
        edited(_RULED, "bench.viewing", "19.3 grad"),
        ("bench.viewing", '"19.3 grad"', '"grad"', '"20 deg"'),
    ),
    "number in quotes": (
        edited(_SLITS, "aperture.count", "5"),
        ("aperture.count", '"5"', "1", "10,000,000"),
    ),
    "letters' case": (
        edited(GOOD["lamp"], "source.element", "HG"),
        ("source.element", '"HG"', '"Hg"', '"H"', '"He"', '"Na"', '"Cd"', '"Ne"'),
    ),
    "percent as a number": (
        edited(GOOD["neutral"], "source.filters[0].transmittance", 50),
        ("source.filters[0].transmittance", "50", "1", '"25 %"'),
    ),
    "defects in single brackets": (
        edited(_RULED, "aperture.defects", {"kind": "periodic", "period": 96}),
        ("aperture.defects", "a table", "[[aperture.defects]]"),
    ),
    "defects at the top": (
        text({**_RULED, "defects": []}),
        ("defects", "[[aperture.defects]]"),
    ),
    "count at the top": (
        text({"count": 6, **_SLITS}),
        ("count", "[aperture]"),
    ),
    "nothing": (
        "",
        ("source", "[source]", 'kind = "sun"'),
    ),
    "deep nesting": (
        "schema = " + "[" * 20_000,
        ("nest", "TOML"),
    ),
    "many digits": (
        "schema = " + "9" * 10_000,
        ("digits", "TOML"),
    ),
    "many hexadecimal digits": (
        edited(_SLITS, "aperture.count", 1).replace("count = 1", "count = 0x" + "f" * 50_000),
        ("aperture.count", "a number of about 60,000 digits", "1", "10,000,000"),
    ),
}


@pytest.mark.parametrize("name", REFUSALS)
def test_a_refusal_names_place_value_and_remedy(name: str) -> None:
    toml, facts = REFUSALS[name]
    error = refusal(toml)
    assert_tells(str(error), FILE, facts)
    assert error.expected


@pytest.mark.parametrize("name", REFUSALS)
def test_the_command_says_it_and_exits_with_2(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    toml, facts = REFUSALS[name]
    scene = tmp_path / FILE
    scene.write_text(toml, encoding="utf-8")
    with pytest.raises(SystemExit) as exit_:
        main(["expose", str(scene)])
    assert exit_.value.code == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.count("\n") == 1
    assert_tells(printed.err, f"wavesim: {scene}", facts)


def assert_tells(message: str, file: str, facts: tuple[str, ...]) -> None:
    """The place comes first; the other facts stand anywhere after it."""
    location = facts[0] if "." in facts[0] or facts[0].startswith("line ") else ""
    assert message.startswith(f"{file}: {location}")
    missing = [fact for fact in facts if fact not in message]
    assert not missing, f"{missing} not in {message!r}"
