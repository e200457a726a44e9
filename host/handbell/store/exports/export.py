"""Writing an export: CSV and Parquet as a folder with a file a table, JSON as one file.

Each file is whole or not there, and takes the place of one of its own sort alone.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterator
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import IO, Any, BinaryIO

from handbell.base.cells import safe
from handbell.base.errors import HandbellError
from handbell.base.extras import install
from handbell.base.files import whole_file
from handbell.store.database.database import Database

from .rows import Rows
from .schema import BOOL, FLOAT, INT, TEXT, TIME, VERSION, TableSpec, Wanted

Writer = Callable[[BinaryIO, TableSpec, Iterator[tuple[Any, ...]]], int]
AT_ONCE = 50_000  # rows of one group in a Parquet file


def export_csv(store: Database, folder: Path, wanted: Wanted, mark: bool = False) -> dict[str, int]:
    """Write CSV files (RFC 4180, UTF-8) into a folder; return rows by table.

    ``mark`` puts a byte order mark in front, by which some spreadsheets know UTF-8. Text that a
    spreadsheet would take for a formula begins with an apostrophe.
    """

    def write(file: BinaryIO, spec: TableSpec, rows: Iterator[tuple[Any, ...]]) -> int:
        count = 0
        encoding = "utf-8-sig" if mark else "utf-8"
        with io.TextIOWrapper(file, encoding=encoding, newline="") as out:
            writer = csv.writer(out)
            writer.writerow([c.name for c in spec.columns])
            for row in rows:
                writer.writerow([_cell(value) for value in row])
                count += 1
        return count

    return _folder(store, folder, wanted, ".csv", write)


def _cell(value: object) -> object:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime):
        return value.isoformat()
    return safe(value)


def export_json(store: Database, path: Path, wanted: Wanted) -> dict[str, int]:
    """Write one JSON file with every table as a list of objects; return rows by table."""
    counts: dict[str, int] = {}
    with (
        store.reading() as conn,
        whole_file(path, own_sort=True, private=True) as fresh,
        io.TextIOWrapper(fresh, encoding="utf-8", newline="\n") as out,
    ):
        rows = Rows(conn, wanted)
        out.write(f'{{"format": "handbell export", "version": {VERSION}, "tables": {{')
        for n, spec in enumerate(rows.tables):
            out.write(f'{"," if n else ""}\n"{spec.name}": [')
            counts[spec.name] = _write_objects(out, spec, rows.of(spec))
            out.write("]")
        out.write("}}\n")
    return counts


def _write_objects(out: IO[str], spec: TableSpec, rows: Iterator[tuple[Any, ...]]) -> int:
    names = [c.name for c in spec.columns]
    count = 0
    for count, row in enumerate(rows, 1):
        one = dict(zip(names, row, strict=True))
        words = json.dumps(one, ensure_ascii=False, default=datetime.isoformat)
        out.write(f"{',' if count > 1 else ''}\n{words}")
    return count


def export_parquet(store: Database, folder: Path, wanted: Wanted) -> dict[str, int]:
    """Write Parquet files into a folder; return rows by table.

    Raises HandbellError without the library for it. Each column carries its meaning.
    """
    return _folder(store, folder, wanted, ".parquet", parquet_writer())


def parquet_writer() -> Writer:
    """Return what writes a table as Parquet; raises HandbellError without the library for it."""
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        raise HandbellError(
            "Parquet needs a library that is not installed", install("export")
        ) from None
    kinds = {
        INT: pa.int64(),
        FLOAT: pa.float64(),
        TEXT: pa.string(),
        BOOL: pa.bool_(),
        TIME: pa.timestamp("us", tz="UTC"),
    }

    def write(file: BinaryIO, spec: TableSpec, rows: Iterator[tuple[Any, ...]]) -> int:
        fields = [
            pa.field(c.name, kinds[c.kind], metadata={"meaning": c.meaning}) for c in spec.columns
        ]
        schema = pa.schema(fields, metadata={"format": f"handbell export {VERSION}"})
        count = 0
        with pq.ParquetWriter(file, schema, compression="zstd") as out:
            while some := list(islice(rows, AT_ONCE)):
                columns = list(zip(*some, strict=True))
                arrays = [pa.array(c, f.type) for c, f in zip(columns, fields, strict=True)]
                out.write_table(pa.Table.from_arrays(arrays, schema=schema))
                count += len(some)
        return count

    return write


def _folder(
    store: Database, folder: Path, wanted: Wanted, suffix: str, write: Writer
) -> dict[str, int]:
    with store.reading() as conn:
        return write_tables(Rows(conn, wanted), lambda spec: folder / (spec.name + suffix), write)


def write_tables(rows: Rows, where: Callable[[TableSpec], Path], write: Writer) -> dict[str, int]:
    """Write each table into a file of its own; return rows by table."""
    counts = {}
    for spec in rows.tables:
        with whole_file(where(spec), own_sort=True, private=True) as fresh:
            counts[spec.name] = write(fresh, spec, rows.of(spec))
    return counts
