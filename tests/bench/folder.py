"""A folder of logs to measures: this project beside polars and pandas, in one command.

    python tests/bench/folder.py            (needs tests/bench/requirements.txt; builds the release example first)

450 logs of 9 000 rows and 12 columns are written by a fixed seed into a temporary folder. Each side reads all of them
and gives for each: frames, seconds, average, 1% and 0.1% lows (quantile, tail mean, time share), percentiles of frame
times, mean power and mean work; then also what the other sensors give. This project always gives all of it, and
hitches, and finds out by itself what the columns are. The numbers have to agree before a time is told.
"""

import json
import multiprocessing
import os
import pathlib
import subprocess
import sys
import tempfile
import time

import numpy
import pandas
import polars

FILES, ROWS, ROUNDS = 450, 9000, 5
NEEDED = ["frame [ms]", "card work [ms]", "board power [W]"]
# Columns that the other measures of this project rest on.
MORE = ["cpu work [ms]", "latency [ms]", "core clock [MHz]", "core temp [°C]", "load [%]"]
ROOT = pathlib.Path(__file__).resolve().parents[2]


def write(folder):
    dice = numpy.random.default_rng(20)
    head = "run,elapsed [s],frame [ms],card work [ms],cpu work [ms],latency [ms],board power [W],core clock [MHz],"
    head += "core temp [°C],load [%],memory [MB],scene part\n"
    for n in range(FILES):
        frame = numpy.round(8 + dice.gamma(2.0, 0.8, ROWS) + (dice.random(ROWS) < 0.004) * 30, 4)
        at = 100 + numpy.concatenate([[0], numpy.cumsum(frame[:-1])]) / 1e3
        columns = [
            ["1"] * ROWS,
            [f"{v:.7f}" for v in at],
            [f"{v:.4f}" for v in frame],
            [f"{v:.4f}" for v in frame * 0.93],
            [f"{v:.4f}" for v in dice.uniform(1, 5, ROWS)],
            [f"{v:.4f}" for v in frame * 2 + 3],
            [f"{v:.2f}" for v in 300 + numpy.repeat(dice.normal(0, 8, ROWS // 9), 9)],
            [f"{v:.0f}" for v in 2500 + numpy.repeat(dice.normal(0, 9, ROWS // 9), 9)],
            [f"{v:.1f}" for v in 60 + numpy.repeat(dice.normal(0, 1, ROWS // 9), 9)],
            [f"{v:.1f}" for v in 95 + numpy.repeat(dice.uniform(0, 5, ROWS // 9), 9)],
            [f"{v:.1f}" for v in 9000 + numpy.repeat(dice.normal(0, 50, ROWS // 9), 9)],
            ["gate"] * ROWS,
        ]
        rows = "\n".join(map(",".join, zip(*columns)))
        (folder / f"{n:03}.csv").write_text(head + rows + "\n", encoding="utf-8")


def measures(frame, work, power):
    """From arrays of one log; frame times in ms."""
    slowest = numpy.sort(frame)[::-1]
    total = frame.sum()
    told = {"frames": len(frame), "seconds": total / 1e3, "average_fps": 1e3 * len(frame) / total}
    sums = numpy.cumsum(slowest)
    for name, p in (("1", 0.01), ("01", 0.001)):
        k = int(len(frame) * p)
        tail = (sums[k - 1] + (len(frame) * p - k) * slowest[k]) / (len(frame) * p)
        told[f"low_{name}_quantile_fps"] = 1e3 / numpy.quantile(frame, 1 - p)
        told[f"low_{name}_tail_mean_fps"] = 1e3 / tail
        told[f"low_{name}_time_share_fps"] = 1e3 / slowest[numpy.searchsorted(sums, p * total)]
    told["frame_time_ms"] = numpy.quantile(frame, [0.5, 0.95, 0.99, 0.999])
    told["power_w"] = (power * frame).sum() / total
    told["card_work_ms"] = work.mean()
    return told


def all_measures(frame, work, power, cpu, latency, clock, temperature, load):
    total = frame.sum()
    told = measures(frame, work, power)
    told["successive_ms"] = numpy.sqrt((numpy.diff(frame) ** 2).mean())
    told["cpu_work_ms"], told["latency_ms"] = cpu.mean(), latency.mean()
    told["joules_per_frame"] = told["power_w"] * total / 1e3 / len(frame)
    told["clock_mean_hz"], told["clock_min_hz"] = 1e6 * (clock * frame).sum() / total, 1e6 * clock.min()
    told["temperature_mean_c"], told["temperature_max_c"] = (temperature * frame).sum() / total, temperature.max()
    told["load_mean"] = (load * frame).sum() / total / 100
    return told


def by_polars(path, names=NEEDED, tell=measures):
    table = polars.read_csv(path, columns=names)
    return tell(*(table[name].to_numpy() for name in names))


def by_pandas(path, names=NEEDED, tell=measures):
    table = pandas.read_csv(path, usecols=names)
    return tell(*(table[name].to_numpy() for name in names))


def all_by_polars(path):
    return by_polars(path, NEEDED + MORE, all_measures)


def all_by_pandas(path):
    return by_pandas(path, NEEDED + MORE, all_measures)


def timed(run):
    seconds = []
    for _ in range(ROUNDS):
        begun = time.perf_counter()
        told = run()
        seconds.append(time.perf_counter() - begun)
    return min(seconds), sorted(seconds)[ROUNDS // 2], told


def main():
    build = ["cargo", "build", "-q", "--release", "-p", "weighhouse-measure", "--example", "folder"]
    subprocess.run(build, cwd=ROOT, check=True)
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        write(folder)
        paths = sorted(folder.iterdir())
        size = sum(path.stat().st_size for path in paths)
        ours = ROOT / "target/release/examples/folder"
        told = json.loads(subprocess.run([ours, name, str(ROUNDS)], check=True, capture_output=True).stdout)
        one = dict(os.environ, RAYON_NUM_THREADS="1")
        alone = json.loads(subprocess.run([ours, name, str(ROUNDS)], check=True, capture_output=True, env=one).stdout)
        rows = [("this project, all cores", sorted(told["seconds"])), ("this project, one core", sorted(alone["seconds"]))]
        sides = {}
        by = (f"polars {polars.__version__}, {polars.thread_pool_size()} threads", by_polars, all_by_polars)
        of = (f"pandas {pandas.__version__}, one process", by_pandas, all_by_pandas)
        for name, needed, whole in (by, of):
            for label, one in ((f"{name}, 3 columns", needed), (f"{name}, 8 columns", whole)):
                best, middle, sides[label] = timed(lambda: [one(p) for p in paths])
                rows.append((label, [best, middle]))
        with multiprocessing.get_context("spawn").Pool(2) as pool:
            for columns, one in ((3, by_pandas), (8, all_by_pandas)):
                pool.map(one, paths[:4])
                best, middle, _ = timed(lambda: pool.map(one, paths, chunksize=15))
                rows.append((f"pandas {pandas.__version__}, two processes, {columns} columns", [best, middle]))
        for label, results in sides.items():
            hold(told, results, label)
    print(f"{FILES} logs, {size / 1e6:.0f} MB")
    for label, seconds in rows:
        middle = seconds[len(seconds) // 2]
        print(f"{label:40} best {seconds[0]:6.3f} s  middle {middle:6.3f} s  {size / 1e6 / seconds[0]:7.0f} MB/s at best")


def hold(ours, theirs, label):
    """The numbers of both sides agree."""
    assert ours["frames"] == sum(r["frames"] for r in theirs), label
    first, other = ours["first"], theirs[0]
    for key, value in other.items():
        mine = first[key]
        if key == "frame_time_ms":
            mine, value = numpy.array([mine[k] for k in ("p50", "p95", "p99", "p99_9")]), numpy.array(value)
        assert numpy.allclose(mine, value, rtol=1e-9), (label, key, mine, value)


if __name__ == "__main__":
    sys.exit(main())
