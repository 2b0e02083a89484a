"""Where a question to an archive is answered: DuckDB on this PC, or Spark for a house with thousands of warmers."""

from __future__ import annotations

import importlib.util
import os
import re
import shutil
import socket
import sys
import tempfile
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

from ibis import Table

from bainwright.archive import figures, schema
from bainwright.archive.store import check
from bainwright.core.errors import FileError, UseError

Answer = list[dict[str, Any]]
Ask = Callable[[Table], Answer]

DUCKDB = "duckdb"
MEMORY = "700MB"  # of DuckDB; chosen, so that the whole program stays under 1 GB
MOST = 1e12  # seconds, degrees, joules; chosen: no record comes near it
YEARS = 1971, 2199  # what every calendar and every zone reaches
REACH_S = 5.0  # chosen: a master in the house answers at once; Spark itself would try for a minute
SPARK = {
    "spark.ui.enabled": "false",
    "spark.ui.showConsoleProgress": "false",
    "spark.log.level": "ERROR",
    "spark.sql.session.timeZone": "UTC",
    "spark.sql.sources.partitionColumnTypeInference.enabled": "false",  # a month is a text, whatever it looks like
    "spark.sql.shuffle.partitions": "8",  # chosen: what is joined and sorted is a line a hold
}
LOCAL_SPARK = {"spark.driver.bindAddress": "127.0.0.1", "spark.driver.host": "127.0.0.1"}
WANTED = "duckdb, spark://local, spark://local[2] or spark://HOST:PORT"


def check_name(engine: str) -> None:
    """Refuse an engine that does not exist.

    Raises
    ------
    UseError
        When its name is none, or what it needs is not installed.
    """
    if engine == DUCKDB:
        return
    if not _master(engine):
        raise UseError("--engine", got=repr(engine), wanted=WANTED)
    if importlib.util.find_spec("pyspark") is None:
        raise UseError(f"--engine {engine} needs PySpark, which is not installed",
                       hint="pip install 'bainwright[fleet]'")
    java = os.environ.get("JAVA_HOME")
    if not (os.path.exists(f"{java}/bin/java") if java else shutil.which("java")):
        raise UseError(f"--engine {engine} needs Java, and there is none" + (f" in JAVA_HOME, {java}" if java else ""),
                       hint="install Java 17 or newer, such as Debian's default-jre-headless")


def _master(engine: str) -> str:
    """Spark's own name for the master; empty if the address names none."""
    if local := re.fullmatch(r"spark://(local(?:\[(?:\d{1,4}|\*)\])?)", engine):
        return local[1]
    return engine if re.fullmatch(r"spark://[^\s,/:]+:\d{1,5}(,[^\s,/:]+:\d{1,5})*", engine) else ""


@contextmanager
def opened(engine: str, archive: Path) -> Iterator[Ask]:
    """What answers questions to an archive, each as a list of lines.

    Parameters
    ----------
    engine : str
        ``duckdb``, or the URL of Spark.
    archive : Path
        Its folder. A Spark elsewhere must see it at the same path.

    Raises
    ------
    FileError
        When the archive, or the engine, cannot answer.
    """
    check_name(engine)
    check(archive)
    if next(archive.glob("holds/*/*/*.parquet"), None) is None:
        yield lambda _: []
        return
    with _duckdb(archive) if engine == DUCKDB else _spark(_master(engine), archive) as ask:
        yield ask


def _failed(archive: Path, engine: str, why: object) -> FileError:
    lines = [line for line in str(why).splitlines() if line.strip()]
    return FileError(f"{engine} cannot answer from {archive}", got=lines[0][:200] if lines else repr(why),
                     hint="with a damaged file, delete it and export that hold again")


@contextmanager
def _duckdb(archive: Path) -> Iterator[Ask]:
    import duckdb
    import ibis

    from bainwright.record.log_rows import glob_escaped

    with tempfile.TemporaryDirectory(prefix="bain-") as scratch:
        database = ibis.duckdb.connect(memory_limit=MEMORY, temp_directory=scratch)
        try:
            # Each question says its order; to keep that of 10,000 files took all the memory that there is.
            database.raw_sql("SET preserve_insertion_order = false")
            for table in schema.TABLES:
                pattern = f"{glob_escaped(archive)}/{table}/*/*/*.parquet".replace("'", "''")
                database.raw_sql(
                    f"CREATE VIEW {table} AS SELECT * FROM read_parquet('{pattern}', hive_partitioning = true, "
                    "hive_types_autocast = false)")

            def ask(question: Table) -> Answer:
                names = question.columns
                return [dict(zip(names, line, strict=True))
                        for line in database.raw_sql(database.compile(question)).fetchall()]

            yield ask
        except (duckdb.Error, RuntimeError) as failed:
            raise _failed(archive, "DuckDB", failed) from failed
        finally:
            database.disconnect()


@contextmanager
def _spark(master: str, archive: Path) -> Iterator[Ask]:
    if not master.startswith("local"):
        _reach(master)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what it thinks of other libraries' versions is no matter of ours
        import ibis
        from py4j.protocol import Py4JError
        from pyspark.errors import PySparkException

        session = _session(master)
        try:
            database = ibis.pyspark.connect(session)
            path = re.sub(r"([][*?{}\\])", r"\\\1", str(archive.absolute()))  # it would read these as a pattern
            for table in schema.TABLES:
                session.read.parquet(f"{path}/{table}").createOrReplaceTempView(table)

            def ask(question: Table) -> Answer:
                return [line.asDict() for line in database.raw_sql(database.compile(question)).collect()]

            yield ask
        except (PySparkException, Py4JError, RuntimeError) as failed:
            raise _failed(archive, "Spark", failed) from failed
        finally:
            session.stop()


def _session(master: str) -> Any:
    """Start Spark. What Java says goes to a file: it would speak over the answer."""
    from pyspark.sql import SparkSession

    builder = SparkSession.builder.master(master).appName("bain")
    for name, value in {**SPARK, **(LOCAL_SPARK if master.startswith("local") else {})}.items():
        builder = builder.config(name, value)
    sys.stderr.flush()
    with tempfile.TemporaryFile() as said:
        ours = os.dup(2)
        os.dup2(said.fileno(), 2)
        try:
            return builder.getOrCreate()
        except Exception as failed:  # whatever a driver or a Java of another version may raise
            said.seek(0)
            words = [line for line in said.read()[-20000:].decode(errors="replace").splitlines() if "rror" in line]
            raise FileError(f"Spark does not start at {master}", got=(words or [str(failed)])[-1][:300],
                            hint="it needs Java 17 or newer") from failed
        finally:
            sys.stderr.flush()
            os.dup2(ours, 2)
            os.close(ours)


def _reach(master: str) -> None:
    """Refuse a Spark that does not answer at its port, in seconds."""
    tried = []
    for each in master.removeprefix("spark://").split(","):
        host, _, port = each.rpartition(":")
        try:
            socket.create_connection((host, int(port)), REACH_S).close()
            return
        except (OSError, OverflowError) as failed:
            tried.append(f"{each}: {failed}")
    raise FileError(f"no Spark answers at {master}", got="; ".join(tried),
                    hint="start its master, or leave --engine out")


def answer(engine: str, archive: Path, group: str, chosen: figures.Chosen) -> Answer:
    """The lines of `figures.per`, as an engine answers them."""
    with opened(engine, archive) as ask:
        folders = None
        if chosen.warmer is not None:  # then only their folders are read
            folders = tuple(sorted(line["warmer"] for line in ask(figures.warmers(chosen))))
            if not folders:
                return []
        return [_possible(line) for line in ask(figures.per(group, chosen, folders))]


def _possible(line: dict[str, Any]) -> dict[str, Any]:
    """A line without the figures that cannot be: the archive may be a stranger's, or damaged."""
    return {name: value if _can_be(value) else None for name, value in line.items()}


def _can_be(value: Any) -> bool:
    if isinstance(value, datetime):
        return YEARS[0] <= value.year <= YEARS[1]
    return not isinstance(value, float) or abs(value) <= MOST
