"""A Parquet file by its own account, before it is unpacked: rows, columns and bytes."""

from __future__ import annotations

import io

from methods.errors import UnusableFile
from methods.records.text import MAX_COLUMNS, MAX_ROWS

#: Cells, and bytes of a file unpacked, beyond which it is not opened.
MAX_CELLS = 60_000_000
MAX_UNPACKED = 2_000_000_000


def check_parquet(raw: bytes) -> None:
    """See that the file, unpacked, is of a size that can be read.

    Raises
    ------
    UnusableFile
        Too many rows, columns, cells or bytes; the message says which.
    """
    import pyarrow.parquet

    known = pyarrow.parquet.read_metadata(io.BytesIO(raw))
    rows, columns = known.num_rows, known.num_columns
    unpacked = sum(known.row_group(i).total_byte_size for i in range(known.num_row_groups))
    for found, most, what in (
        (rows, MAX_ROWS, "rows"),
        (columns, MAX_COLUMNS, "columns"),
        (rows * columns, MAX_CELLS, "cells"),
        (unpacked, MAX_UNPACKED, "bytes unpacked"),
    ):
        if found > most or found < 0:
            raise UnusableFile(f"The Parquet file has {found:,} {what}; the limit is {most:,}.", rule="size limit")
