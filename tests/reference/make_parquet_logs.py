"""Writes tests/data/parquet/: the log of the container tests as Apache Parquet, by pyarrow 26.0.1.

    pip install pyarrow==26.0.1 && python tests/reference/make_parquet_logs.py
"""

from datetime import datetime, timedelta, timezone
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

at, starts, frames = 0, [], []
for i in range(60):
    us = 16_000 + i * 37 % 900
    starts.append(at)
    frames.append(us)
    at += us
begun = datetime(2026, 11, 24, 22, 30, 33, tzinfo=timezone.utc)
durations = ("frame time [ms]", pa.array([us / 1000 for us in frames]))
elapsed = ("elapsed [s]", pa.array([us / 1e6 for us in starts]))
stamps = pa.array([begun + timedelta(microseconds=us) for us in starts], pa.timestamp("us", tz="UTC"))
words = pa.array(["a\tb" if i % 7 else None for i in range(60)])
folder = Path(__file__).parent.parent / "data" / "parquet"
pq.write_table(pa.table(dict([elapsed, durations])), folder / "frames_zstd.parquet", compression="zstd")
table = pa.table(dict([("time", stamps), ("remark", words), durations]))
pq.write_table(table, folder / "frames_snappy.parquet", compression="snappy", row_group_size=25)
