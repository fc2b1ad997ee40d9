"""The program under test, asked in SQL: many rows a call, whole numbers and floats to the last bit.

Environment: STRIKEMILL (the program), STRIKEMILL_HOME (any home with the shipped configuration).
"""

import functools
import json
import os
import pathlib
import subprocess
import tomllib

PROGRAM = os.environ["STRIKEMILL"]
HOME = os.environ["STRIKEMILL_HOME"]
# Long statements make the SQL parser slow and tell nothing more.
ROWS_A_CALL = 1000


def ask(sql):
    """The rows that a query answers, each a dict; structs are dicts too."""
    asked = subprocess.run(
        [PROGRAM, "query", "--home", HOME, "--output", "json", "-"], input=sql, text=True, capture_output=True, check=False
    )
    assert asked.returncode == 0, f"{asked.stderr}\nasked: {sql[:600]}"
    return json.loads(asked.stdout)


@functools.cache
def functions():
    """What `query --functions` says, as text."""
    told = subprocess.run([PROGRAM, "query", "--home", HOME, "--functions"], text=True, capture_output=True, check=True)
    return told.stdout


def has_function(name):
    return any(line.startswith(f"{name}(") for line in functions().splitlines())


def function_takes(name, argument):
    """Whether an argument or field of this name is listed under the function."""
    inside = False
    for line in functions().splitlines():
        if not line.startswith(" "):
            inside = line.startswith(f"{name}(")
        elif inside and line.split()[:1] == [argument]:
            return True
    return False


def literal(value):
    """One value in SQL. Floats keep every digit; what looks whole stays a float, so that a column has one type."""
    if value is None:
        return "NULL"
    if isinstance(value, str):
        return "'" + value.replace("'", "''") + "'"
    return f"{float(value)!r}" if "e" in repr(float(value)) else f"CAST({float(value)!r} AS DOUBLE)"


def call(function, rows):
    """The function's answer to each row of arguments, in order."""
    answers = []
    for start in range(0, len(rows), ROWS_A_CALL):
        part = rows[start : start + ROWS_A_CALL]
        names = [f"a{place}" for place in range(len(part[0]))]
        values = ", ".join("(" + ", ".join([str(number), *map(literal, row)]) + ")" for number, row in enumerate(part))
        sql = f"SELECT row_number, {function}({', '.join(names)}) AS answer FROM (VALUES {values}) AS given(row_number, {', '.join(names)}) ORDER BY row_number"
        told = ask(sql)
        assert [row["row_number"] for row in told] == list(range(len(part)))
        answers.extend(row.get("answer") for row in told)
    return answers


def head_profiles():
    """The home's heads.toml as Python's own TOML reader sees it, by name."""
    with (pathlib.Path(HOME) / "config" / "heads.toml").open("rb") as file:
        return {head["name"]: head for head in tomllib.load(file)["head"]}


def ball_profiles():
    """The home's balls.toml, by name; empty for builds without it."""
    path = pathlib.Path(HOME) / "config" / "balls.toml"
    if not path.exists():
        return {}
    with path.open("rb") as file:
        return {ball["name"]: ball for ball in tomllib.load(file)["ball"]}


def verdicts(cases, ball=None):
    """The verdict of each (evidence, head name), for the standard ball or another one. Rows with the same fields are asked together, since a column has one type."""
    other = "" if ball is None else f", {literal(ball)}"
    together = {}
    for place, (evidence, head) in enumerate(cases):
        together.setdefault(tuple(sorted(evidence)), []).append(place)
    answers = [None] * len(cases)
    for fields, places in together.items():
        struct = "named_struct(" + ", ".join(f"'{field}', f_{field}" for field in fields) + ")"
        rows = ", ".join(
            "(" + ", ".join([str(place), *(literal(cases[place][0][field]) for field in fields), literal(cases[place][1])]) + ")"
            for place in places
        )
        names = ", ".join(["place", *(f"f_{field}" for field in fields), "head"])
        for row in ask(f"SELECT place, verdict({struct}, head{other}) AS answer FROM (VALUES {rows}) AS given({names})"):
            answers[row["place"]] = row["answer"]
    return answers


def of_lists(function, lists, *scalars):
    """The answers of a function over lists of structs, all with the same fields; one answer a list."""
    fields = list(lists[0][0])
    struct = "named_struct(" + ", ".join(f"'{field}', f_{field}" for field in fields) + ")"
    values = ", ".join(
        f"({number}, " + ", ".join(literal(row[field]) for field in fields) + ")" for number, rows in enumerate(lists) for row in rows
    )
    behind = "".join(", " + literal(scalar) for scalar in scalars)
    given = ", ".join(f"f_{field}" for field in fields)
    told = ask(
        f"SELECT list_number, {function}(array_agg({struct}){behind}) AS answer FROM (VALUES {values}) "
        f"AS given(list_number, {given}) GROUP BY list_number ORDER BY list_number"
    )
    assert [row["list_number"] for row in told] == list(range(len(lists)))
    return [row["answer"] for row in told]


def of_list(function, rows, *scalars):
    return of_lists(function, [rows], *scalars)[0]
