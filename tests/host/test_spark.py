"""The same questions on Spark give the answers of DuckDB. Needs PySpark and Java."""

from __future__ import annotations

import importlib.util
import os
import shutil
from datetime import datetime
from pathlib import Path

import pytest
from many_evenings import evenings

from bainwright import cli
from bainwright.archive import engines, figures
from bainwright.core import home

HAS_SPARK = importlib.util.find_spec("pyspark") and (os.environ.get("JAVA_HOME") or shutil.which("java"))
pytestmark = [pytest.mark.slow, pytest.mark.skipif(not HAS_SPARK, reason="needs PySpark (the extra fleet) and Java")]

ALL, POTS = figures.Chosen(), figures.Chosen(warmer="market POT")
QUESTIONS = (
    *((group, ALL, None) for group in (figures.NIGHT, *figures.GROUPS)),
    (figures.WARMER, POTS, ("market-pot-b1", "market-pot-b2")),
    (figures.NIGHT, figures.Chosen(kind="dark", since=datetime(2026, 11, 1)), None),
)


def test_spark_gives_the_numbers_that_duckdb_gives(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Lines, order, texts, moments and counts are equal; sums of floats within the order they were added in."""
    monkeypatch.setenv(home.VARIABLE, str(tmp_path / "home"))
    monkeypatch.chdir(tmp_path)
    evenings(tmp_path / "home" / "holds")
    assert cli.main(["export", "all [1]/", "--since", "2026-01-01"]) == 0
    assert cli.main(["export", "all [1]", "old-1"]) == 0
    archive, lines = tmp_path / "all [1]", 0
    with engines.opened("duckdb", archive) as duck, engines.opened("spark://local[1]", archive) as spark:
        for asked in QUESTIONS:
            question = figures.per(*asked)
            one, other = duck(question), spark(question)
            assert [list(line) for line in other] == [list(line) for line in one]
            for at, line in enumerate(one):
                for name, value in line.items():
                    wanted = pytest.approx(value, rel=1e-9) if isinstance(value, float) else value
                    assert other[at][name] == wanted, (asked, at, name)
                    assert type(other[at][name]) is type(value), (asked, at, name)
            lines += len(one)
    assert lines == 6 + 5 + 3 + 2 + 2 + 1  # nights, warmers, months, kinds, two pots, one of dark
