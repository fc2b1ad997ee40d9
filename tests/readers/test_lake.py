"""The published lake as foreign tools see it: DuckDB, Polars and pyarrow must open every dataset, whole and file by file,
and agree with each other, with the manifest, and with the program's own query command.

Environment: STRIKEMILL (the program), STRIKEMILL_HOME (a home with a published lake).
"""

import glob
import hashlib
import json
import math
import os
import pathlib
import subprocess

import duckdb
import polars
import pyarrow.dataset
import pyarrow.parquet
import pytest

PROGRAM = os.environ["STRIKEMILL"]
HOME = pathlib.Path(os.environ["STRIKEMILL_HOME"])
LAKE = HOME / "lake"
MANIFESTS = sorted(LAKE.glob("site=*/manifest.json"))
MANIFEST = json.loads(MANIFESTS[0].read_text(encoding="utf-8"))
DATASETS = sorted({entry["dataset"] for entry in MANIFEST["files"]})
EXPECTED = {
    "shots", "rejects", "imports", "players", "clubs", "devices", "shot_verdicts", "strike_misses", "carry_loss", "job_runs",
    "player_club_model", "ball_profiles", "bay_offsets", "strike_pattern", "practice_effect", "practice_plan",
}


def pattern(dataset):
    return str(LAKE / dataset / "**" / "*.parquet")


def files_of(dataset):
    return sorted(glob.glob(pattern(dataset), recursive=True))


def query(sql):
    done = subprocess.run(
        [PROGRAM, "query", sql, "--output", "json", "--home", str(HOME)], check=True, capture_output=True, text=True
    )
    return json.loads(done.stdout)


def summary(columns):
    """Sum of every numeric column and count of every other, so that two readers can be compared."""
    result = {}
    for name, values in columns.items():
        known = [value for value in values if value is not None]
        if known and isinstance(known[0], (int, float)) and not isinstance(known[0], bool):
            result[name] = math.fsum(known)
        else:
            result[name] = len(known)
    return result


def same(left, right):
    assert left.keys() == right.keys()
    for name in left:
        assert math.isclose(left[name], right[name], rel_tol=1e-9, abs_tol=1e-6), name


def test_every_dataset_is_published():
    assert len(MANIFESTS) == 1
    assert EXPECTED <= set(DATASETS)


def test_nothing_but_the_manifests_files_stands_in_the_dataset_folders():
    on_disk = {str(path.relative_to(LAKE)) for path in LAKE.rglob("*") if path.is_file() and "month=" in str(path) or path.suffix == ".parquet"}
    named = {entry["path"] for entry in MANIFEST["files"]}
    assert on_disk == named


def test_the_frozen_files_are_those_of_the_manifest_and_hold_the_same_bytes():
    frozen = {entry["frozen"] for entry in MANIFEST["files"]}
    assert len(frozen) == len(MANIFEST["files"])
    retired = {entry["path"] for entry in MANIFEST["retired"]}
    moments = MANIFESTS[0].parent / "moments"
    assert {str(path.relative_to(LAKE)) for path in moments.iterdir()} == frozen | retired
    for entry in MANIFEST["files"]:
        for path in (entry["path"], entry["frozen"]):
            content = (LAKE / path).read_bytes()
            assert (len(content), hashlib.sha256(content).hexdigest()) == (entry["bytes"], entry["sha256"]), path


def test_the_data_package_describes_every_file_as_it_is():
    packages = list(LAKE.glob("*.datapackage.json"))
    assert len(packages) == 1 and not list(LAKE.rglob("datapackage.json"))
    package = json.loads(packages[0].read_text(encoding="utf-8"))
    described = {}
    for resource in package["resources"]:
        fields = [field["name"] for field in resource["schema"]["fields"]]
        assert set(resource["schema"].get("primaryKey", [])) <= set(fields)
        for path in resource["path"]:
            # [source: Data Package standard 2.0, Data Resource, path: "/" (absolute) and "../" are forbidden]
            assert not path.startswith("/") and ".." not in path
            assert pyarrow.parquet.read_schema(LAKE / path).names == fields, path
            described[path] = resource["name"]
    assert described == {entry["path"]: entry["dataset"] for entry in MANIFEST["files"]}


@pytest.mark.parametrize("dataset", DATASETS)
def test_readers_agree_over_the_glob(dataset):
    connection = duckdb.connect()
    connection.execute("SET TimeZone = 'UTC'")
    from_duckdb = connection.sql(
        f"SELECT * FROM read_parquet('{pattern(dataset)}', hive_partitioning = false)"
    ).to_arrow_table()
    from_polars = polars.scan_parquet(pattern(dataset), hive_partitioning=False).collect()
    from_pyarrow = pyarrow.dataset.dataset(files_of(dataset), format="parquet").to_table()

    assert from_polars.columns == from_pyarrow.column_names == from_duckdb.column_names
    rows = sum(entry["rows"] for entry in MANIFEST["files"] if entry["dataset"] == dataset)
    assert from_duckdb.num_rows == from_polars.height == from_pyarrow.num_rows == rows
    assert query(f"SELECT count(*) AS n FROM {dataset}") == [{"n": rows}]

    reference = summary(from_pyarrow.to_pydict())
    same(reference, summary(from_duckdb.to_pydict()))
    same(reference, summary(from_polars.to_dict(as_series=False)))


@pytest.mark.parametrize("dataset", DATASETS)
def test_readers_open_each_single_file(dataset):
    assert files_of(dataset)
    for path in files_of(dataset):
        rows = pyarrow.parquet.read_metadata(path).num_rows
        assert polars.read_parquet(path, hive_partitioning=False).height == rows
        counted = duckdb.sql(f"SELECT count(*) FROM read_parquet('{path}', hive_partitioning = false)").fetchall()
        assert counted == [(rows,)]


@pytest.mark.parametrize("dataset", DATASETS)
def test_readers_open_the_folder_with_its_keys(dataset):
    """site= and month= become columns, and never clash with a column of the files."""
    keyed_duckdb = duckdb.sql(f"SELECT * FROM read_parquet('{pattern(dataset)}', hive_partitioning = true)").columns
    keyed_pyarrow = pyarrow.dataset.dataset(str(LAKE / dataset), partitioning="hive").schema.names
    keyed_polars = polars.scan_parquet(pattern(dataset), hive_partitioning=True).collect_schema().names()
    assert "site" in keyed_duckdb and "site" in keyed_pyarrow and "site" in keyed_polars
    assert len(set(keyed_pyarrow)) == len(keyed_pyarrow)


@pytest.mark.parametrize("dataset", DATASETS)
def test_each_file_obeys_the_profile(dataset):
    first = None
    for path in files_of(dataset):
        file = pyarrow.parquet.ParquetFile(path)
        schema = file.schema_arrow
        first = first or schema
        assert schema.equals(first), "one dataset has one schema"
        allowed = {"string", "int64", "double", "bool", "date32[day]", "timestamp[us, tz=UTC]"}
        assert {str(field.type) for field in schema} <= allowed
        for field in schema:
            assert field.metadata and field.metadata.get(b"description"), field.name
        metadata = file.metadata
        for group in range(metadata.num_row_groups):
            assert metadata.row_group(group).num_rows <= 1_048_576
            for column in range(metadata.num_columns):
                chunk = metadata.row_group(group).column(column)
                assert chunk.compression == "ZSTD"
        assert b"run_id" in {key.split(b".")[-1] for key in metadata.metadata} | set(metadata.metadata)
        for batch in file.iter_batches():
            for name, column in zip(batch.schema.names, batch.columns):
                if str(column.type) == "double":
                    assert not any(value is not None and math.isnan(value) for value in column.to_pylist()), name


def test_the_parts_of_every_verdict_sum_to_actual_minus_reference():
    table = polars.scan_parquet(pattern("shot_verdicts"), hive_partitioning=False).collect()
    for kind in ("lateral", "carry"):
        parts = sum(polars.col(f"{kind}_{group}_m") for group in ("strike", "delivery", "speed", "rest"))
        whole = polars.col(f"{kind}_m") - polars.col(f"reference_{kind}_m")
        judged = table.filter(polars.col(f"{kind}_strike_m").is_not_null())
        assert judged.height > 1000
        assert judged.select((parts - whole).abs().max()).item() < 1e-9


def test_demonstration_shots_and_players_without_consent_count_nowhere():
    sql = """
        SELECT count(*) AS n FROM shot_verdicts v JOIN shots s ON s.shot_id = v.shot_id
        LEFT JOIN players p ON p.player_id = s.player_id
        WHERE s.intent = 'demonstration' OR p.consent IS NULL OR NOT p.consent
    """
    assert query(sql) == [{"n": 0}]
    assert query("SELECT count(*) > 0 AS some FROM shots WHERE intent = 'demonstration'") == [{"some": True}]
