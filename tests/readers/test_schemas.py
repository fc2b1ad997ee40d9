"""The shipped configuration and packs against the checked-in JSON Schemas, by a validator that is not ours; and texts that it must refuse,
so that a schema which allows everything is seen as such."""

import copy
import json
import pathlib
import tomllib

import jsonschema
import pytest

ROOT = pathlib.Path(__file__).resolve().parents[2]
PAIRS = [
    ("plugins/formats/format.schema.json", sorted(ROOT.glob("plugins/formats/*/format.toml"))),
    ("plugins/jobs/job.schema.json", sorted(ROOT.glob("plugins/jobs/*/job.toml"))),
    ("config/strikemill.schema.json", [ROOT / "config" / "strikemill.toml"]),
]
CASES = [(schema, path) for schema, paths in PAIRS for path in paths]


def validator(schema):
    text = json.loads((ROOT / schema).read_text(encoding="utf-8"))
    kind = jsonschema.validators.validator_for(text)
    kind.check_schema(text)
    return kind(text)


def label(value):
    return value if isinstance(value, str) else f"{value.parent.name}/{value.name}"


@pytest.mark.parametrize(("schema", "path"), CASES, ids=label)
def test_shipped_file_is_valid(schema, path):
    assert path.read_text(encoding="utf-8").startswith("#:schema ")
    directive = path.read_text(encoding="utf-8").splitlines()[0].removeprefix("#:schema ")
    assert (path.parent / directive).resolve() == ROOT / schema
    errors = list(validator(schema).iter_errors(tomllib.loads(path.read_text(encoding="utf-8"))))
    assert not errors, [f"{error.json_path}: {error.message}" for error in errors]


@pytest.mark.parametrize(("schema", "path"), CASES, ids=label)
def test_misspelt_and_missing_keys_are_refused(schema, path):
    good = tomllib.loads(path.read_text(encoding="utf-8"))
    check = validator(schema)
    assert not check.is_valid(good | {"colour": 1})
    for key in check.schema["required"]:
        worse = copy.deepcopy(good)
        del worse[key]
        assert not check.is_valid(worse), key


def test_words_of_a_format_are_checked():
    path = ROOT / "plugins/formats/plain-imperial/format.toml"
    good = tomllib.loads(path.read_text(encoding="utf-8"))
    check = validator("plugins/formats/format.schema.json")
    places = [
        (["engine"], "delimitted"),
        (["measures", "ball_speed_mps", "unit"], "rpm"),
        (["measures", "face_deg", "faceReference"], "middle"),
        (["shot", "club", "values", "Driver", "clubKind"], "stick"),
        (["shot", "intent", "values", "Play"], "fun"),
        (["schema", "fieldsMatch"], "some"),
        (["maxProblemShare"], 3),
        (["measures", "ball_pace"], {"field": "No", "unit": "m/s", "measured": True}),
    ]
    for keys, value in places:
        worse = copy.deepcopy(good)
        table = worse
        for key in keys[:-1]:
            table = table[key]
        table[keys[-1]] = value
        assert not check.is_valid(worse), keys
    worse = copy.deepcopy(good)
    del worse["measures"]["ball_speed_mps"]["measured"]
    assert not check.is_valid(worse)
