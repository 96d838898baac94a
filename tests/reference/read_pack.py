"""Reads the columns of an unpacked pack with captures by pyarrow, and holds them against its tables.

    pip install pyarrow==26.0.1
    python read_pack.py FOLDER

Pinned apart from requirements.txt: it writes no vectors. Averages of passes are computed here from the frames by
pyarrow's own sums (frames that start in the window, divided by the time they took), and the measures compared number by
number with tables/pass_measures.csv.
"""

import csv
import math
import sys
from pathlib import Path

import pyarrow.compute as pc
import pyarrow.dataset as ds

folder = Path(sys.argv[1])


def table(name):
    with open(folder / "tables" / f"{name}.csv", newline="", encoding="utf-8") as file:
        return {row["key"]: row for row in csv.DictReader(file)}


def columns(name):
    hive = ds.partitioning(flavor="hive")
    fragments = list(ds.dataset(folder / name, format="parquet", partitioning=hive).get_fragments())
    return [(ds.get_partition_keys(fragment.partition_expression), fragment.to_table()) for fragment in fragments]


passes, measured = table("passes"), table("pass_measures")
wrong, frames, numbers, exact, seen = [], 0, 0, 0, set()
for keys, tracks in columns("tracks"):
    key = tracks["pass"][0].as_py()
    seen.add(key)
    row = passes[key]
    if keys["part"] != row["part"] or keys["setting"] != row["setting"]:
        wrong.append(f"{key}: in the folder of {keys}")
    inside = pc.and_(
        pc.greater_equal(tracks["at_ns"], int(row["window_start_ns"])),
        pc.less(tracks["at_ns"], int(row["window_end_ns"])),
    )
    kept = tracks.filter(inside)["frame_ns"]
    average = len(kept) / (pc.sum(kept).as_py() / 1e9)
    frames += len(tracks)
    said = float(measured[key]["average_fps"])
    exact += average == said
    if not math.isclose(average, said, rel_tol=4e-16):
        wrong.append(f"{key}: {average} computed, {said} in the table")
if seen != set(passes):
    wrong.append(f"passes without tracks: {sorted(set(passes) - seen)}")
for _, rows in columns("measures"):
    for row in rows.to_pylist():
        there = measured[row["pass"]]
        for name, value in row.items():
            if name in there and name not in ("part", "tuning", "setting"):
                numbers += 1
                if there[name] != "" and value is not None:
                    same = float(there[name]) == value
                else:
                    same = there[name] == "" and value is None
                if not same:
                    wrong.append(f"{row['pass']}, {name}: {value}, {there[name]} in the table")
beside = sum(len(rows) for _, rows in columns("companions")) if (folder / "companions").exists() else 0
print(f"{len(seen)} passes, {frames} frames, {beside} rows of companions; {exact} averages equal to the last bit; "
      f"{numbers} measures compared")
print("\n".join(wrong) or "all the same")
sys.exit(1 if wrong else 0)
