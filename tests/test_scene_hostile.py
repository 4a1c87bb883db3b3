"""Wrong scenes: one sentence that names the key, the value and what would be right; status 2."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.scene_texts import FILE, GOOD, Table, edited, leaves, refusal, tables, text, value_at
from wavesim.errors import InputError, SceneError
from wavesim.scene import Scene, load, parse
from wavesim.scene.messages import toml_text

# ---- every key of every good scene, wrong in every way that its kind can be wrong

_WRONG_UNIT = "3 kg"
_FREE_SIGN = re.compile(
    r"centre$|\.[xy]$|turn|angle|phase|incidence|viewing|defocus|size|sag|growth"
    r"|spherical|coma|astigmatism|linear|quadratic|cubic|order|over$|phase_depth"
    r"|jaws|offset|plate_tilt|plate_tip"
)
_MAY_BE_ZERO = re.compile(
    r"amplitude|rms|jitter|min_distance|inner|depth|pressure|humidity|co2|filters\[0\]\.width"
    r"|residual|camera_lens\.distance"
)


Case = tuple[str, str, object]


def _once(cases: Iterable[Case]) -> list[Case]:
    """Each key of each kind of table once: (name of the scene, dotted key, value)."""
    found: dict[tuple[str, str], Case] = {}
    for name, key, value in cases:
        table = value_at(GOOD[name], key.rpartition(".")[0])
        kind = table.get("kind", table.get("profile")) if isinstance(table, dict) else None
        found.setdefault((re.sub(r"\d+", "0", key), str(kind)), (name, key, value))
    return list(found.values())


LEAVES = _once((name, key, value) for name in GOOD for key, value in leaves(GOOD[name]))
TABLES = _once((name, key, 0) for name in GOOD for key in tables(GOOD[name]) if key)
QUANTITIES = [case for case in LEAVES if isinstance(case[2], str) and case[2][0] in "-0123456789"]
SWITCHES = [case for case in LEAVES if isinstance(case[2], bool)]
NUMBERS = [c for c in LEAVES if isinstance(c[2], (int, float)) and c not in SWITCHES]
TEXTS = [case for case in LEAVES if isinstance(case[2], str) and case not in QUANTITIES]
_COUNTS_RULINGS = ("period", "correlation")


@pytest.mark.parametrize(
    ("name", "key"),
    [
        (name, key)
        for name, key, value in QUANTITIES
        if not str(value).endswith(("%", "ppm")) and not key.endswith(_COUNTS_RULINGS)
    ],
)
def test_a_bare_number_is_no_quantity(name: str, key: str) -> None:
    error = refusal(edited(GOOD[name], key, 3))
    assert error.key == _reported(key)
    assert "is a bare number where" in str(error)
    assert re.search(r"\(found 3\); expected a.* such as \"", str(error))


def _reported(key: str) -> str:
    """`beam = "40 mm"` is short for a table, and that is what messages name."""
    return "bench.beam.diameter" if key == "bench.beam" else key


@pytest.mark.parametrize(("name", "key"), [case[:2] for case in QUANTITIES])
@pytest.mark.parametrize(
    ("value", "problem"),
    [
        (_WRONG_UNIT, "is a mass where a"),
        ("3 quux", 'has an unknown unit "quux"'),
        ("nan um", "is not a finite number"),
        ("1e999 um", "is too large a number"),
        ("3", "has no unit"),
        ([], "is n"),
        ({}, "is n"),
        (True, "is n"),
    ],
    ids=str,
)
def test_a_quantity_that_is_none(name: str, key: str, value: object, problem: str) -> None:
    error = refusal(edited(GOOD[name], key, value))
    assert error.key is not None
    assert error.key.startswith(key)
    assert problem in error.problem or error.problem.startswith("is missing")
    assert error.expected


@pytest.mark.parametrize(
    ("name", "key", "value", "sign"),
    [
        (*case, sign)
        for case in QUANTITIES
        for sign in ("-3", "0")
        if not _FREE_SIGN.search(case[1]) and not (sign == "0" and _MAY_BE_ZERO.search(case[1]))
    ],
)
def test_a_size_below_or_at_zero(name: str, key: str, value: str, sign: str) -> None:
    unit = re.sub(r"^[-+0-9.e]+(?:/[0-9]+)?", "", value)
    error = refusal(edited(GOOD[name], key, sign + unit.replace("degC", "K")))
    assert error.key == _reported(key)
    assert error.problem in ("is not above zero", "is negative", "is out of range")


@pytest.mark.parametrize(("name", "key", "value"), NUMBERS)
@pytest.mark.parametrize("wrong", [float("nan"), 10**30, -(10**30), "6", True, []], ids=str)
def test_a_number_that_is_none(name: str, key: str, value: object, wrong: object) -> None:
    error = refusal(edited(GOOD[name], key, wrong))
    assert error.key == key
    assert error.expected
    if isinstance(value, int) and key.endswith(("count", "count_x", "count_y")):
        assert "from 1 to 10,000,000" in error.expected or "from 2 to" in error.expected


@pytest.mark.parametrize(("name", "key"), [case[:2] for case in SWITCHES])
@pytest.mark.parametrize("wrong", [0, 1, 1.0, "true", []], ids=repr)
def test_a_switch_is_true_or_false(name: str, key: str, wrong: object) -> None:
    error = refusal(edited(GOOD[name], key, wrong))
    assert error.key == key
    assert (error.problem, error.expected) == ("is neither true nor false", "true or false")


@pytest.mark.parametrize(("name", "key"), [case[:2] for case in TEXTS])
def test_a_number_is_no_text(name: str, key: str) -> None:
    error = refusal(edited(GOOD[name], key, -3))
    assert error.key == key
    assert error.expected


@pytest.mark.parametrize(("name", "key"), [case[:2] for case in TABLES] + [("sun", "")])
def test_an_unknown_key_is_refused_in_every_table(name: str, key: str) -> None:
    error = refusal(edited(GOOD[name], f"{key}.wobble".lstrip("."), 3))
    assert error.key == f"{key}.wobble".lstrip(".")
    assert "is an unknown key" in str(error)


@pytest.mark.parametrize(
    ("name", "key"), [(name, key) for name, key, _ in TABLES if key != "bench.beam"]
)
def test_a_number_is_no_table(name: str, key: str) -> None:
    error = refusal(edited(GOOD[name], key, 3))
    assert error.key == key
    assert "is not a table (found 3)" in str(error)


# ---- files


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(SceneError, match=r"none\.toml: there is no such file; expected a scene"):
        load(tmp_path / "none.toml")


def test_a_file_of_nearly_that_name(tmp_path: Path) -> None:
    (tmp_path / "slits_005.toml").write_text("")
    with pytest.raises(SceneError, match=r"no such file; did you mean .*slits_005\.toml\?$"):
        load(tmp_path / "slits_05.toml")


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        (b"\x89HDF\r\n\x1a\n" + b"\0" * 2**20, "a plate file"),
        (b"\x89PNG\r\n\x1a\n", "a picture"),
        (b"\xff\xd8\xff\xe0", "a picture"),
    ],
)
def test_a_file_of_another_kind(content: bytes, kind: str, tmp_path: Path) -> None:
    (tmp_path / FILE).write_bytes(content)
    with pytest.raises(SceneError, match=rf"is {kind}.*expected a scene file"):
        load(tmp_path / FILE)


def test_a_folder_is_no_scene(tmp_path: Path) -> None:
    with pytest.raises(SceneError, match="cannot be read: Is a directory"):
        load(tmp_path)


def test_a_name_with_a_nul() -> None:
    with pytest.raises(SceneError, match="cannot be read: embedded null byte"):
        load("bench\0.toml")


def test_bytes_that_are_no_text(tmp_path: Path) -> None:
    (tmp_path / FILE).write_bytes(b"schema = 1\ntitle = '\xe9'\n")
    with pytest.raises(SceneError, match=r"is not UTF-8 text: byte 0xe9 in line 2; expected"):
        load(tmp_path / FILE)


def test_a_file_that_is_too_large(tmp_path: Path) -> None:
    (tmp_path / FILE).write_text("#" * (2**20 + 1))
    with pytest.raises(SceneError, match="is larger than 1 MiB; expected a scene file; long lists"):
        load(tmp_path / FILE)


def test_a_byte_order_mark_does_no_harm(tmp_path: Path) -> None:
    (tmp_path / FILE).write_bytes(b"\xef\xbb\xbf" + text(GOOD["sun"]).encode())
    assert load(tmp_path / FILE).title == "Harbour School bench"


def test_a_file_of_nonsense_is_counted_to_the_end() -> None:
    error = refusal("".join(f"pl{number} = {number}\n" for number in range(40_000)))
    # 40,000 unknown keys and four missing tables; one is told, three are named
    assert str(error).endswith("(also wrong: source, bench, aperture and 40,000 more)")


# ---- anything at all: a scene or an InputError

_SCALARS = st.one_of(
    st.integers(),
    st.floats(),
    st.booleans(),
    st.text(max_size=12),
    st.sampled_from(["20 um", "3 deg", "auto", "sun", "slits", "grating", "", "1/0 s", "nan m"]),
)
_VALUES = st.recursive(
    _SCALARS,
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(
            st.sampled_from(["kind", "width", "file", "slit", "count", "profile", "x", "width_m"]),
            inner,
            max_size=3,
        ),
    ),
    max_leaves=6,
)
_PLACES = [case[:2] for case in LEAVES + TABLES]


def _scene_or_refusal(toml: str) -> None:
    with contextlib.suppress(InputError):
        assert isinstance(parse(toml), Scene)


@pytest.mark.slow
@settings(max_examples=400, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from(_PLACES), _VALUES)
def test_any_value_at_any_key(path: tuple[str, str], value: object) -> None:
    name, key = path
    _scene_or_refusal(edited(GOOD[name], key, value))


@pytest.mark.slow
@settings(max_examples=200, deadline=None)
@given(st.dictionaries(st.sampled_from([*GOOD["sun"], "exposure", "x"]), _VALUES, max_size=6))
def test_any_tables(scene: Table) -> None:
    _scene_or_refusal(text(scene))


@settings(max_examples=200, deadline=None)
@given(st.text())
def test_any_text(toml: str) -> None:
    _scene_or_refusal(toml)


@settings(max_examples=200, deadline=None)
@given(st.sampled_from(sorted(GOOD)), st.integers(0, 400), st.text(max_size=3), st.integers(0, 9))
def test_any_slip_of_the_pen(name: str, position: int, inserted: str, removed: int) -> None:
    toml = text(GOOD[name])
    _scene_or_refusal(toml[:position] + inserted + toml[position + removed :])


@settings(max_examples=100, deadline=None)
@given(content=st.binary(max_size=300))
def test_any_bytes(tmp_path_factory: pytest.TempPathFactory, content: bytes) -> None:
    path = tmp_path_factory.getbasetemp() / "any.toml"
    path.write_bytes(content)
    with contextlib.suppress(InputError):
        assert isinstance(load(path), Scene)


@given(_VALUES)
def test_values_are_written_as_toml_reads_them(value: object) -> None:
    """The helper that writes the scenes of these tests loses nothing."""
    import tomllib

    written = f"value = {toml_text(value)}"
    assert repr(tomllib.loads(written)["value"]) == repr(value)
