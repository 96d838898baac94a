"""Makes vectors/measures.json, the outside numbers that measures.rs holds the measures against.

Use: pip install -r requirements.txt && python make_vectors.py [test_nist.c]
The argument is the file statistics/test_nist.c of Debian's source package gsl (2.7.1), which carries the data of the
NIST Statistical Reference Datasets (a work of the United States government) with their certified values; without
it the datasets already in vectors/nist.json are left as they are.

Everything is computed with numpy, scipy and arch, apart from the code under test. Frame times are whole nanoseconds.
"""

import hashlib
import json
import re
import sys
from importlib.metadata import version
from pathlib import Path

import numpy as np
from arch.bootstrap import StationaryBootstrap, optimal_block_length
from scipy import stats

HERE = Path(__file__).parent / "vectors"


def write(name, body):
    (HERE / name).write_text(json.dumps(body, separators=(",", ":")) + "\n")


def long_tailed(n, memory, hitches, seed):
    """A pass: logs follow an autoregression of the scene's load, some frames take a Pareto tail. ns."""
    rng = np.random.default_rng(seed)
    load = np.zeros(n)
    noise = rng.standard_normal(n) * 0.02
    for i in range(1, n):
        load[i] = memory * load[i - 1] + noise[i]
    ms = 8 * np.exp(load + 0.03 * rng.standard_normal(n))
    hit = rng.random(n) < hitches
    ms[hit] *= 1 + rng.pareto(1.5, hit.sum())
    return np.rint(ms * 1e6).astype(np.int64)


def tail_mean(x, permille):
    """Mean of the slowest n p values, the last by its fraction (Acerbi & Tasche 2002), checked against the minimum
    form of Rockafellar & Uryasev."""
    n, p = len(x), permille / 1000
    s = np.sort(x)[::-1].astype(float)
    k, rest = divmod(n * permille, 1000)
    mean = (s[:k].sum() + (rest / 1000 * s[k] if rest else 0)) / (n * p)
    by_minimum = min(z + np.maximum(s - z, 0).mean() / p for z in s[max(k - 2, 0) : k + 3])
    assert abs(by_minimum / mean - 1) < 1e-12
    return mean


def closed_form_se(x, b):
    """Standard error of the mean under the stationary bootstrap, without random numbers (Politis & Romano 1994)."""
    n = len(x)
    e = x - x.mean()
    c = np.array([e @ np.roll(e, -i) for i in range(n)]) / n
    i = np.arange(1, n)
    return float(np.sqrt((c[0] + 2 * np.sum((1 - i / n) * (1 - 1 / b) ** i * c[1:])) / n))


def measures(ns):
    """The rates and percentiles of one pass."""
    x = ns.astype(float)
    lows = {}
    for name, permille in (("1", 10), ("01", 1)):
        q = 1 - permille / 1000
        lows[f"low_{name}_quantile_fps"] = 1e9 / np.quantile(x, q, method="linear")
        lows[f"low_{name}_tail_mean_fps"] = 1e9 / tail_mean(x, permille)
        lows[f"low_{name}_time_share_fps"] = 1e9 / np.quantile(x, q, weights=x, method="inverted_cdf")
    return {
        "average_fps": float(stats.hmean(1e9 / x)),
        "trap_mean_of_rates": float(np.mean(1e9 / x)),
        "lows": {k: float(v) for k, v in lows.items()},
        "percentiles_ms": [float(v) for v in np.percentile(x / 1e6, [50, 95, 99, 99.9])],
        "successive_ms": float(np.sqrt(np.mean(np.diff(x / 1e6) ** 2))),
    }


def arch_interval(ns, b, reps, seed):
    """Limits of the average and the 1% quantile low by arch's own resampler."""
    boot = StationaryBootstrap(b, ns.astype(float), seed=np.random.default_rng(seed))

    def rates(x):
        return np.array([1e9 / x.mean(), 1e9 / np.quantile(x, 0.99)])

    return boot.conf_int(rates, reps=reps, method="percentile").T.tolist()


def passes():
    shapes = [(3571, 0.98, 0.004, 1), (1000, 0.0, 0.01, 2), (997, 0.6, 0.0, 3), (12000, 0.995, 0.002, 4), (101, 0.5, 0.05, 5)]
    out = []
    for n, memory, hitches, seed in shapes:
        ns = long_tailed(n, memory, hitches, seed)
        if n == 997:  # a log rounded to tenths of a millisecond, full of ties
            ns = np.rint(ns / 1e5).astype(np.int64) * 100_000
        x = np.log(ns.astype(float))
        b = float(optimal_block_length(x)["stationary"].iloc[0])
        one = {"frame_ns": ns.tolist(), **measures(ns), "block_length": max(b, 1.0)}
        if n >= 3000:
            one["interval"] = arch_interval(ns, b, 20_000, seed)
        out.append(one)
    return out


def block_lengths():
    """arch's block length of series that need few, many and the most lags."""
    rng = np.random.default_rng(9)
    out = []
    for n, memory in [(60, 0.3), (250, 0.0), (500, 0.6), (800, 0.9), (700, -0.5), (400, 0.999)]:
        e = rng.standard_normal(n)
        x = np.zeros(n)
        for i in range(n):
            x[i] = (memory * x[i - 1] if i else 0) + e[i]
        x = np.round(x, 6)
        b = float(optimal_block_length(x)["stationary"].iloc[0])
        out.append({"series": x.tolist(), "length": max(b, 1.0), "se": closed_form_se(x, 12.0)})
    return out


def generator():
    """Random bits of the streams by hashlib and numpy's PCG64DXSM, from the description in stats/rng.rs."""
    full, multiplier, golden = 2**128, 15750249268501108917, 0x9E3779B97F4A7C15F39CC0605CEDC835
    out = []
    for parts, number in [(["interval"], 0), (["interval"], 3), (["a", "", "bc"], 1999)]:
        digest = hashlib.sha256(b"".join(len(p).to_bytes(8, "big") + p.encode() for p in parts)).digest()
        state, stream = int.from_bytes(digest[:16], "big"), int.from_bytes(digest[16:], "big")
        state, stream = (state + number * golden) % full, (stream + number) % full
        increment = (stream * 2 + 1) % full
        bits = np.random.PCG64DXSM()
        begun = ((state + increment) * multiplier + increment) % full
        bits.state = {**bits.state, "state": {"state": begun, "inc": increment}}
        raw = [str(int(v)) for v in bits.random_raw(4)]
        out.append({"parts": parts, "number": number, "bits": raw})
    return out


def nist(path):
    """Data and certified mean and standard deviation from gsl's test of the NIST datasets."""
    text = Path(path).read_text()
    sets = {}
    for name in ("lew", "lottery", "mavro", "michelson"):
        data = re.search(rf"double {name} *\[[^]]*\] *= *{{(.*?)}}", text, re.S).group(1)
        block = text[text.index(f"gsl_stats_mean ({name},") :]
        certified = [re.search(rf"expected_{k} *= *([-+0-9.eE]+)", block).group(1) for k in ("mean", "sd")]
        values = [float(v) for v in data.split(",") if v.strip()]
        sets[name] = {"data": values, "mean": float(certified[0]), "sd": float(certified[1])}
    return sets


if __name__ == "__main__":
    made_with = {p: version(p) for p in ("numpy", "scipy", "arch")}
    write("measures.json", {"made_with": made_with, "passes": passes(), "blocks": block_lengths(), "generator": generator()})
    if len(sys.argv) > 1:
        write("nist.json", nist(sys.argv[1]))
