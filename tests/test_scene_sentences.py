"""What the refusals say, word for word: read them aloud before changing one."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.scene_texts import FILE, GONE, GOOD, edited, refusal, text
from wavesim.cli import main

_SUN, _SLITS, _RULED = GOOD["sun"], GOOD["slits"], GOOD["grating"]
_MISSPELT = edited(_SUN, "source.slit", {"widht": "20 um", "height": "4 mm"})

SENTENCES: dict[str, tuple[str, str]] = {
    "bare number": (
        edited(_SUN, "source.slit.width", 20),
        "source.slit.width: is a bare number where a length with its unit belongs (found 20);"
        ' expected a length such as "20 um"',
    ),
    "wrong unit": (
        edited(_SLITS, "aperture.pitch", "30 deg"),
        'aperture.pitch: is an angle where a length belongs (found "30 deg");'
        ' expected a length such as "90 um"',
    ),
    "unknown unit": (
        edited(_SUN, "source.slit.width", "20 umm"),
        'source.slit.width: has an unknown unit "umm", perhaps "um" (found "20 umm");'
        ' expected a length such as "20 um"',
    ),
    "negative": (
        edited(_SLITS, "aperture.width", "-40 um"),
        'aperture.width: is not above zero (found "-40 um"); expected a length such as "40 um"',
    ),
    "huge count": (
        edited(_SLITS, "aperture.count", 10_000_001),
        "aperture.count: is out of range (found 10000001);"
        " expected a whole number from 1 to 10,000,000",
    ),
    "misspelt key": (
        _MISSPELT,
        'source.slit.widht: is an unknown key; expected perhaps "width"',
    ),
    "key of another kind": (
        edited(_SLITS, "aperture.mounting", "reflection"),
        'aperture.mounting: does not go with kind = "slits", only with "grating"; expected one of'
        " height, outline, defects, kind, count, width, pitch, slits",
    ),
    "unknown kind": (
        edited(_SUN, "source.kind", "sum"),
        'source.kind: is no known kind (found "sum"); expected perhaps "sun", or "blackbody",'
        ' "illuminant", "lamp", "laser", "led", "band" or "table"',
    ),
    "no kind": (
        edited(GOOD["blazed"], "aperture.groove.profile", GONE),
        'aperture.groove.profile: is missing; expected "slit", "blazed", "sinusoidal", "binary"'
        ' or "table"',
    ),
    "missing key": (
        edited(GOOD["laser"], "source.wavelength", GONE),
        "source.wavelength: is missing: wavelength in air, within 360 to 830 nm;"
        ' expected wavelength = "632.8 nm"',
    ),
    "missing table": (
        edited(_SUN, "plate", GONE),
        "plate: is missing: what is exposed; expected a table [plate]",
    ),
    "several mistakes": (
        text({**_SUN, "bench": {"camera": 1, "collimator": 2}, "plate": {}}),
        "bench.collimator: is a bare number where a length with its unit belongs (found 2);"
        ' expected a length such as "600 mm" (wrong too: bench.camera, plate.width, plate.height'
        " and 1 more)",
    ),
    "wrong choice": (
        edited(GOOD["gaussian beam"], "bench.beam.profile", "gausian"),
        'bench.beam.profile: is not among the choices (found "gausian");'
        ' expected "uniform" or "gaussian"',
    ),
    "another version": (
        edited(_SUN, "schema", 2),
        "schema: is a version of the file format not known here (found 2); expected schema = 1",
    ),
    "title": (
        edited(_SUN, "title", 6),
        "title: is not a text (found 6); expected a text in quotes",
    ),
    "true": (
        edited(_SUN, "source.lines", 1),
        "source.lines: is neither true nor false (found 1); expected true or false",
    ),
    "slits wider than the pitch": (
        edited(_SLITS, "aperture.pitch", "30 um"),
        'aperture.width: is more than the pitch of 30 um (found "40 um"); expected at most the'
        " pitch",
    ),
    "slits without pitch": (
        edited(_SLITS, "aperture.pitch", GONE),
        'aperture.pitch: is missing: the distance from middle to middle; expected pitch = "90 um"',
    ),
    "slits counted and listed": (
        edited(GOOD["listed slits"], "aperture.count", 2),
        "aperture.count: cannot go with a list of slits (found 2); expected count, width and"
        " pitch, or slits",
    ),
    "overlapping slits": (
        edited(GOOD["listed slits"], "aperture.slits[1].centre", "-60 um"),
        "aperture.slits[1]: overlaps slits[0] (found \"60 um wide at -60 um\"); expected slits"
        " apart from each other",
    ),
    "no slits": (
        edited(GOOD["listed slits"], "aperture.slits", []),
        "aperture.slits: has too few entries (found a list); expected at least 1",
    ),
    "wires without gap": (
        edited(GOOD["wires"], "aperture.width", "90 um"),
        'aperture.width: leaves no gap at a pitch of 90 um (found "90 um"); expected less than the'
        " pitch",
    ),
    "one wire": (
        edited(GOOD["wires"], "aperture.count", 1),
        "aperture.count: is out of range (found 1); expected a whole number from 2 to 10,000,000",
    ),
    "no density": (
        edited(_RULED, "aperture.density", GONE),
        'aperture.density: is missing, and so is pitch; expected density = "600 / mm"',
    ),
    "density and pitch": (
        edited(_RULED, "aperture.pitch", "2 um"),
        'aperture.pitch: cannot go with density (found "2 um"); expected density or pitch, not'
        " both",
    ),
    "density as a length": (
        edited(_RULED, "aperture.density", "600 mm"),
        'aperture.density: is a length where a number of lines per length belongs (found "600'
        ' mm"); expected a number of lines per length such as "600 / mm"',
    ),
    "count and width": (
        edited(_RULED, "aperture.ruled_width", "3 mm"),
        'aperture.ruled_width: cannot go with count (found "3 mm"); expected count or'
        " ruled_width, not both",
    ),
    "too many rulings": (
        edited(GOOD["grating by width"], "aperture.ruled_width", "30 km"),
        'aperture.ruled_width: holds 3.60014e+10 rulings (found "30 km"); expected at most'
        " 10,000,000 rulings",
    ),
    "no ruling": (
        edited(GOOD["grating by width"], "aperture.ruled_width", "3 nm"),
        'aperture.ruled_width: is less than one pitch of 833.3 nm (found "3 nm"); expected at least'
        " one ruling",
    ),
    "groove wider than the pitch": (
        edited(GOOD["slit groove"], "aperture.groove.width", "3 um"),
        'aperture.groove.width: is more than the pitch of 1.66667 um (found "3 um"); expected at'
        " most the pitch",
    ),
    "index of a mirror": (
        edited(GOOD["binary"], "aperture.mounting", "reflection"),
        "aperture.groove.index: belongs to a transmission grating (found 1.52); expected no"
        ' index, or mounting = "transmission"',
    ),
    "reflectance of a window": (
        edited(_RULED, "aperture.reflectance", 0.5),
        "aperture.reflectance: belongs to a reflection grating (found 0.5); expected mounting ="
        ' "reflection"',
    ),
    "two reflectances": (
        edited(GOOD["metal grating"], "aperture.reflectance", 0.5),
        'aperture.reflectance_file: cannot go with reflectance (found "aluminium.csv"); expected'
        " reflectance or reflectance_file, not both",
    ),
    "step after the last": (
        edited(GOOD["step"], "aperture.defects[0].ruling", 15_000),
        "aperture.defects[0].ruling: is not before the last of 15,000 rulings (found 15000);"
        " expected a ruling from 1 to 14999",
    ),
    "step in two places": (
        edited(GOOD["step"], "aperture.defects[0].fraction", 0.5),
        "aperture.defects[0].fraction: cannot go with ruling (found 0.5); expected ruling or"
        " fraction, not both",
    ),
    "missing beyond the last": (
        edited(GOOD["missing"], "aperture.defects[0].rulings", [3, 16_000]),
        "aperture.defects[0].rulings: names a ruling beyond the last of 15,000 (found 16000);"
        " expected numbers from 1 to 15000",
    ),
    "ruling nought": (
        edited(GOOD["missing"], "aperture.defects[0].rulings", [3, 0]),
        "aperture.defects[0].rulings[1]: is out of range (found 0); expected a whole number from 1"
        " to 10,000,000",
    ),
    "all missing": (
        edited({**GOOD["missing"], "aperture": {**_SLITS["aperture"], "count": 2, "defects": [  # type: ignore[dict-item]
            {"kind": "missing", "rulings": [1, 2]}]}}, "title", ""),
        "aperture.defects[0].rulings: leaves no ruling (found a list); expected fewer missing"
        " rulings",
    ),
    "missing what": (
        edited(GOOD["missing"], "aperture.defects[0].rulings", GONE),
        "aperture.defects[0].rulings: is missing, and so is fraction; expected rulings = [17, 18]"
        " or fraction = 0.01",
    ),
    "depth of slits": (
        edited(GOOD["depth"], "aperture.groove", {"profile": "slit"}),
        'aperture.defects[0].kind: does not go with these rulings (found "depth"); expected'
        ' "depth" for grooves that have a depth, "width" for slits and wires',
    ),
    "width error beyond the width": (
        edited(GOOD["width"], "aperture.defects[0].rms", "50 um"),
        "aperture.defects[0]: changes the width of 40 um by 50.5 um; expected changes smaller than"
        " the width",
    ),
    "period of no kind": (
        edited(GOOD["periodic"], "aperture.defects[0].period", []),
        "aperture.defects[0].period: is neither a number of rulings nor a length (found a list);"
        ' expected 96 rulings as 96, or "3 mm"',
    ),
    "correlation of no kind": (
        edited(GOOD["random"], "aperture.defects[0].correlation", "some"),
        'aperture.defects[0].correlation: is not a kind of correlation (found "some"); expected'
        ' "independent", "accumulated", or a length such as "2 mm"',
    ),
    "wavefront of no order": (
        edited(GOOD["defect table"], "aperture.defects[0].order", 0),
        "aperture.defects[0].order: shows no displacement (found 0); expected an order but 0",
    ),
    "no camera": (
        edited(_SUN, "bench.camera", GONE),
        "bench.camera: is missing: the focal length of the camera lens, or the plate's distance;"
        ' expected camera = "1 m" or plate_distance = "3 m"',
    ),
    "camera and distance": (
        edited(_SUN, "bench.plate_distance", "3 m"),
        'bench.plate_distance: cannot go with a camera lens (found "3 m"); expected camera or'
        " plate_distance; a plate out of focus is given by defocus",
    ),
    "collimator and distance": (
        edited(_SUN, "bench.source_distance", "3 m"),
        'bench.source_distance: cannot go with collimator (found "3 m"); expected collimator or'
        " source_distance, not both",
    ),
    "slit without collimator": (
        edited(_SUN, "bench.collimator", GONE),
        "bench.collimator: is missing: a source slit needs the collimator, or its distance;"
        ' expected collimator = "600 mm" or source_distance = "2 m"',
    ),
    "defocus without lens": (
        edited(GOOD["near field"], "bench.defocus", "3 mm"),
        'bench.defocus: needs a camera lens (found "3 mm"); expected camera = "1 m"',
    ),
    "defocus into the lens": (
        edited(_SUN, "bench.defocus", "-1 m"),
        'bench.defocus: reaches the camera lens (found "-1 m"); expected less than the focal'
        " length",
    ),
    "turn alone": (
        edited(_SUN, "bench.turn", "3 deg"),
        'bench.included_angle: is missing: turn needs it; expected included_angle = "30 deg"'
        ' together with turn = "12 deg"',
    ),
    "turn and incidence": (
        edited(GOOD["turned"], "bench.incidence", "3 deg"),
        'bench.incidence: cannot go with included_angle and turn (found "3 deg"); expected'
        " incidence and viewing, or included_angle and turn",
    ),
    "turned edge on": (
        edited(GOOD["turned"], "bench.turn", "80 deg"),
        'bench.turn: puts the angle of incidence at 90 degrees or beyond (found "80 deg");'
        " expected a smaller turn or included_angle",
    ),
    "viewing from behind": (
        edited(_SUN, "bench.viewing", "95 deg"),
        'bench.viewing: is out of range (found "95 deg"); expected an angle from -90 deg to'
        " 90 deg",
    ),
    "plate beyond 90 degrees": (
        edited(_SUN, "bench.viewing", "89 deg"),
        "plate.width: reaches 91.0045 deg from the aperture's normal, at x = 35 mm; light leaves"
        ' below 90 deg only (found "60 mm"); expected x below 17.4551 mm: a narrower plate, or one'
        " moved by centre",
    ),
    "plate of no pixel": (
        edited(_SUN, "plate.pixel", "10 mm"),
        'plate.height: is less than one pixel of 10 mm (found "8 mm"); expected at least one'
        " pixel",
    ),
    "plate of too many columns": (
        edited(_SUN, "plate.pixel", "10 nm"),
        'plate.width: holds 6,000,000 pixels of 10 nm (found "60 mm"); expected at most 1,000,000:'
        " a larger pixel or a smaller plate",
    ),
    "plate of too many pixels": (
        text({**_SUN, "plate": {"width": "90 mm", "height": "90 mm", "pixel": "1 um"}}),
        'plate.pixel: makes 90,000 x 90,000 = 8,100,000,000 pixels (found "1 um"); expected at'
        " most 2,147,483,648: a larger pixel or a smaller plate",
    ),
    "laser out of sight": (
        edited(GOOD["laser"], "source.wavelength", "1064 nm"),
        'source.wavelength: is out of range (found "1064 nm"); expected a length from 360 nm to'
        " 830 nm",
    ),
    "laser with luminance": (
        edited(GOOD["laser"], "source.illuminance", "3 lx"),
        'source.illuminance: does not go with a laser (found "3 lx"); expected power = "1 mW"',
    ),
    "band out of sight": (
        edited(GOOD["band"], "source.centre", "950 nm"),
        'source.centre: leaves no light that can be seen (found "950 nm"); expected a band that'
        " overlaps 360 to 830 nm",
    ),
    "slit and disc": (
        edited(_SUN, "source.disc", "32 arcmin"),
        'source.disc: cannot go with slit (found "32 arcmin"); expected slit or disc, not both',
    ),
    "luminance of a point": (
        edited(GOOD["illuminant"], "source.luminance", "3 cd/m^2"),
        'source.luminance: needs a slit or a disc to have a luminance (found "3 cd/m^2"); expected'
        " illuminance for a point source, or a slit",
    ),
    "illuminance of a slit": (
        edited(GOOD["led"], "source.illuminance", "3 lx"),
        "source.illuminance: is for a point source, and this one has a slit or disc (found"
        ' "3 lx"); expected luminance instead',
    ),
    "neutral of what": (
        edited(GOOD["neutral"], "source.filters[0].transmittance", GONE),
        "source.filters[0].density: is missing, and so is transmittance; expected density = 0.6",
    ),
    "humidity as a number": (
        edited(GOOD["blurred"], "bench.air.humidity", 50),
        "bench.air.humidity: is out of range (found 50); expected a fraction from 0 to 1, or a text"
        ' such as "50 %"',
    ),
    "obstacle in no beam": (
        edited({**GOOD["disc"], "bench": {"collimator": "1 m", "camera": "1 m"}},
               "aperture.stop", GONE),
        "bench.beam: is missing: an obstacle stands in a beam of some diameter; expected beam ="
        ' "40 mm", or a stop in [aperture]',
    ),
    "annulus inside out": (
        edited(GOOD["annulus"], "aperture.inner", "2 mm"),
        'aperture.inner: is not less than the outer diameter of 2 mm (found "2 mm"); expected less'
        " than outer",
    ),
    "polygon of two sides": (
        edited(GOOD["hexagon"], "aperture.sides", 2),
        "aperture.sides: is out of range (found 2); expected a whole number from 3 to 1,000",
    ),
    "polygon without radius": (
        edited(GOOD["hexagon"], "aperture.radius", GONE),
        "aperture.radius: is missing: a polygon has sides and radius, or points; expected sides ="
        ' 6 and radius = "1 mm"',
    ),
    "polygon twice": (
        edited(GOOD["triangle"], "aperture.sides", 3),
        "aperture.sides: cannot go with points (found 3); expected sides and radius, or points",
    ),
    "polygon that crosses itself": (
        edited(GOOD["triangle"], "aperture.points", [
            {"x": f"{x} mm", "y": f"{y} mm"} for x, y in ((0, 0), (3, 3), (3, 0), (0, 2))]),
        "aperture.points: make sides 1 and 3 cross (found a list); expected corners in order"
        " around a hole",
    ),
    "polygon on a line": (
        edited(GOOD["triangle"], "aperture.points", [
            {"x": f"{x} mm", "y": f"{x} mm"} for x in (0, 1, 2)]),
        "aperture.points: enclose no area (found a list); expected corners in order around a hole",
    ),
    "stop of two kinds": (
        edited(GOOD["dots"], "aperture.stop.width", "3 mm"),
        "aperture.stop: is round or rectangular; expected { diameter = \"10 mm\" }, or width and"
        " height",
    ),
    "hole larger than its cell": (
        edited(GOOD["mesh"], "aperture.pitch_x", "10 um"),
        "aperture.hole: is larger than the cell that it stands in; expected a hole"
        " smaller than pitch_x by pitch_y",
    ),
    "mesh of too many holes": (
        edited({**GOOD["mesh"], "aperture": {**GOOD["mesh"]["aperture"],  # type: ignore[dict-item]
               "count_x": 10_000}}, "aperture.count_y", 10_000),
        "aperture.count_y: makes 100,000,000 holes (found 10000); expected at most 10,000,000"
        " holes",
    ),
    "dots too dense": (
        edited(GOOD["dots"], "aperture.min_distance", "1 mm"),
        "aperture.min_distance: covers 20 of the stop with discs of that diameter, too dense to"
        ' scatter (found "1 mm"); expected at most 0.5 of it: fewer dots, less distance or a larger'
        " stop",
    ),
    "phase without depth": (
        edited(GOOD["picture"], "aperture.phase_depth", GONE),
        'aperture.phase_depth: is missing: phase_file needs it; expected phase_file = "phase.png"'
        ' and phase_depth = "550 nm"',
    ),
    "file without a name": (
        edited(GOOD["table"], "source.file", ""),
        'source.file: is empty (found ""); expected "measured.csv"',
    ),
    "stops beyond a time": (
        edited(GOOD["timed"], "exposure.over", 1),
        "exposure.over: counts from the automatic exposure, and a time is given (found 1);"
        ' expected over with time = "auto", or a time alone',
    ),
    "time without a level": (
        edited(GOOD["lamp"], "exposure", {"time": "1 s"}),
        "exposure.time: means nothing yet: the level of the lamp is not given (found \"1 s\");"
        ' expected time = "auto", or luminance in [source]',
    ),
    "time before a black body seen as a point": (
        edited({**GOOD["timed"], "source": {"kind": "blackbody", "temperature": "2856 K"}},
               "title", ""),
        "exposure.time: means nothing yet: the level of the blackbody is not given (found"
        ' "1/30 s"); expected time = "auto", or illuminance in [source]',
    ),
    "time of no kind": (
        edited(GOOD["timed"], "exposure.time", "automatic"),
        'exposure.time: does not begin with a number (found "automatic"); expected a time such as'
        ' "1/30 s" or "auto"',
    ),
    "syntax": (
        'schema = 1\ntitle = "Six\n',
        "line 2: is not TOML: Illegal character '\\n' (found title = \"Six); expected TOML, as in"
        " the shipped scenes",
    ),
    "twice": (
        "schema = 1\nschema = 1\n",
        "line 2: gives a key a second time (found schema = 1); expected each key once",
    ),
    "quantity without quotes": (
        'schema = 1\nslit = { width = 20 um, height = "4 mm" }\n',
        'line 2: has a text without quotes (found slit = { width = 20 um, height = "4 mm" });'
        ' expected width = "20 um"',
    ),
    "word without quotes": (
        "[source]\nkind = sun\n",
        'line 2: has a text without quotes (found kind = sun); expected kind = "sun"',
    ),
    "typographic quotes": (
        "[aperture]\nwidth = “40 um”\n",
        'line 2: has typographic quotes (found width = “40 um”); expected straight ones: "40 um"',
    ),
    "colon": (
        "[aperture]\ncount: 5\n",
        "line 2: has a colon where an equals sign belongs (found count: 5); expected count = 5",
    ),
    "semicolon": (
        "[aperture]\ncount = 5;\n",
        "line 2: ends with a semicolon (found count = 5;); expected nothing after the value",
    ),
    "open bracket": (
        "schema = 1\n[aperture\ncount = 5\n",
        "line 2: has brackets that do not match (found [aperture); expected [table], or [[list]]"
        " for an item of a list",
    ),
    "table twice": (
        "[plate]\n[bench]\n[plate]\n",
        "line 3: opens a table a second time (found [plate]); expected each table once; [[...]]"
        " for each item of a list",
    ),
    "prose": (
        "Please show five slits.\n",
        "line 1: is not TOML: Expected '=' after a key in a key/value pair (found Please show five"
        " slits.); expected TOML, as in the shipped scenes",
    ),
    "molar for millimetre": (
        edited(_SUN, "plate.width", "60 MM"),
        'plate.width: has an unknown unit "MM", perhaps "mm" (found "60 MM"); expected a length'
        ' such as "60 mm"',
    ),
    "capitals": (
        edited(_SLITS, "aperture.width", "40 UM"),
        'aperture.width: has an unknown unit "UM", perhaps "um" (found "40 UM"); expected a length'
        ' such as "40 um"',
    ),
    "grad": (
        edited(_RULED, "bench.viewing", "19.3 grad"),
        'bench.viewing: has a unit that may be degrees or gon, "grad" (found "19.3 grad"); expected'
        ' an angle such as "20 deg"',
    ),
    "number in quotes": (
        edited(_SLITS, "aperture.count", "5"),
        'aperture.count: is a number in quotes (found "5"); expected a whole number from 1 to'
        " 10,000,000, without quotes",
    ),
    "letters' case": (
        edited(GOOD["lamp"], "source.element", "HG"),
        'source.element: is not among the choices (found "HG"); expected perhaps "Hg", or "H",'
        ' "He", "Na", "Cd" or "Ne"',
    ),
    "percent as a number": (
        edited(GOOD["neutral"], "source.filters[0].transmittance", 50),
        "source.filters[0].transmittance: is out of range (found 50); expected a fraction above"
        ' zero, up to 1, or a text such as "25 %"',
    ),
    "defects in single brackets": (
        edited(_RULED, "aperture.defects", {"kind": "periodic", "period": 96}),
        "aperture.defects: is not a list (found a table); expected [[aperture.defects]], in double"
        " brackets, for each item",
    ),
    "defects at the top": (
        text({**_RULED, "defects": []}),
        "defects: does not belong here; expected [[aperture.defects]]",
    ),
    "count at the top": (
        text({"count": 6, **_SLITS}),
        "count: does not belong here; expected count in [aperture]",
    ),
    "nothing": (
        "",
        'source: is missing: what shines; expected a table [source] with kind = "sun" or another'
        " kind (wrong too: bench, aperture, plate)",
    ),
    "deep nesting": (
        "schema = " + "[" * 20_000,
        "nests lists or tables too deeply; expected TOML, as in the shipped scenes",
    ),
    "many digits": (
        "schema = " + "9" * 10_000,
        "holds a number of thousands of digits; expected TOML, as in the shipped scenes",
    ),
    "many hexadecimal digits": (
        edited(_SLITS, "aperture.count", 1).replace("count = 1", "count = 0x" + "f" * 50_000),
        "aperture.count: is out of range (found a number of about 60,000 digits); expected a whole"
        " number from 1 to 10,000,000",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", SENTENCES)
def test_the_sentence(name: str) -> None:
    toml, sentence = SENTENCES[name]
    assert str(refusal(toml)) == f"{FILE}: {sentence}"


@pytest.mark.parametrize("name", SENTENCES)
def test_the_command_says_it_and_exits_with_2(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    toml, sentence = SENTENCES[name]
    scene = tmp_path / FILE
    scene.write_text(toml, encoding="utf-8")
    with pytest.raises(SystemExit) as exit_:
        main(["expose", str(scene)])
    assert exit_.value.code == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err == f"wavesim: {scene}: {sentence}\n"
