"""The exported JSON Schema accepts what the reader accepts, and explains every key."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from pydantic import create_model

from tests.scene_texts import GOOD, edited, leaves, text
from wavesim.scene import Scene, json_schema
from wavesim.scene.base import Model
from wavesim.scene.messages import tables_of

SHIPPED = sorted((Path(__file__).parents[1] / "scenes").glob("*.toml"))


@pytest.fixture(scope="module")
def validator() -> Draft202012Validator:
    schema = json.loads(json.dumps(json_schema(), allow_nan=False))
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


@pytest.mark.parametrize("name", GOOD)
def test_good_scenes_are_valid(name: str, validator: Draft202012Validator) -> None:
    scene = tomllib.loads(text(GOOD[name]))
    assert [error.message for error in validator.iter_errors(scene)] == []


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_shipped_scenes_are_valid(path: Path, validator: Draft202012Validator) -> None:
    scene = tomllib.loads(path.read_text(encoding="utf-8"))
    assert [error.message for error in validator.iter_errors(scene)] == []


@pytest.mark.parametrize("name", GOOD)
def test_bare_numbers_and_unknown_keys_are_marked(
    name: str, validator: Draft202012Validator
) -> None:
    for key, value in leaves(GOOD[name]):
        table = key.rpartition(".")[0]
        assert not validator.is_valid(
            tomllib.loads(edited(GOOD[name], f"{table}.wobble".lstrip("."), 3))
        )
        may_be_number = key.endswith(("period", "correlation", "transmittance", "humidity", "co2"))
        if isinstance(value, str) and not may_be_number:
            assert not validator.is_valid(tomllib.loads(edited(GOOD[name], key, 3)))


def test_a_kind_must_be_said(validator: Draft202012Validator) -> None:
    scene = tomllib.loads(text(GOOD["sun"]))
    del scene["source"]["kind"]
    assert not validator.is_valid(scene)


def test_every_key_is_explained_without_python_words() -> None:
    schema = json_schema()
    definitions = schema["$defs"]
    assert isinstance(definitions, dict)
    for name, table in {"Scene": schema, **definitions}.items():
        for key, entry in table["properties"].items():
            if key not in ("kind", "profile"):
                assert entry.get("description"), (name, key)
            assert "null" not in json.dumps(entry), (name, key)


def test_examples_of_the_schema_are_valid(validator: Draft202012Validator) -> None:
    """Each example is what its own key takes."""
    definitions = validator.schema["$defs"]
    tried = 0
    for name, table in {"Scene": validator.schema, **definitions}.items():
        for key, entry in table["properties"].items():
            for example in entry.get("examples", ()):
                own = Draft202012Validator({"$defs": definitions, **entry})
                assert own.is_valid(example), (name, key, example)
                tried += 1
    assert tried > 100


def test_the_reader_takes_the_examples_that_messages_give() -> None:
    tried = 0
    for model in tables_of(Scene):
        for key, field in model.model_fields.items():
            alone = create_model("Alone", __base__=Model, **{key: (field.annotation, field)})  # type: ignore[call-overload]
            for example in field.examples or ():
                alone.model_validate(
                    {field.alias: example}, by_alias=True, by_name=False, context={"file": True}
                )
                tried += 1
    assert tried > 100
