"""Makes vectors/readings.json, the outside numbers that readings.rs holds readings and soaks against.

Use: pip install -r requirements.txt && python make_reading_vectors.py

Means and their intervals: numpy and scipy's Student t, degrees of freedom by Welch and Satterthwaite as in JCGM
100:2008, G.4.1, the step of the instrument as a rectangular distribution (F.2.2.1). Levels: the energy mean and the
background correction of ISO 3744:2010 (8.2.3) and ISO 1996 written out in numpy. Where a warming part is steady: the
truncation of pymser (Marginal Standard Error Rule, batch size 1) on the same block means, asked again where it cuts at
the half.
"""

import json
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pymser
from scipy import stats

HERE = Path(__file__).parent / "vectors"
RNG = np.random.default_rng(20261127)


def half_width(x, step):
    n = len(x)
    scatter, rectangular = x.var(ddof=1) / n, step**2 / 12
    df = (scatter + rectangular) ** 2 / (scatter**2 / (n - 1)) if scatter else np.inf
    t = stats.norm.ppf(0.975) if np.isinf(df) else stats.t.ppf(0.975, df)
    return t * np.sqrt(scatter + rectangular)


def amounts():
    out = []
    for n, spread, step in [(2, 0.5, 0.1), (3, 2.0, 1.0), (5, 0.05, 0.1), (10, 1.3, 0.0), (4, 0.0, 1.0)]:
        x = np.round(RNG.normal(60, spread, n), 1 if step < 1 else 0)
        out.append({"values": x.tolist(), "step": step, "mean": x.mean(), "half": half_width(x, step)})
    return out


def levels():
    out = []
    for n, spread, background in [(3, 0.4, None), (3, 0.4, 30.0), (5, 1.5, 36.0), (8, 0.2, 37.5)]:
        x = np.round(RNG.normal(42, spread, n), 1)
        own = x if background is None else 10 * np.log10(10 ** (x / 10) - 10 ** (background / 10))
        mean = 10 * np.log10(np.mean(10 ** (own / 10)))
        out.append({"values": x.tolist(), "background": background, "mean": mean, "half": half_width(own, 0.1)})
    return out


def soaks():
    out = []
    for seconds, tau, top, noise in [(1200, 90, 68, 0.3), (1800, 200, 74, 0.5), (900, 60, 61, 0.2), (2400, 150, 80, 1.0)]:
        at = np.arange(seconds, dtype=float)
        values = np.round(top - (top - 28) * np.exp(-at / tau) + RNG.normal(0, noise, seconds), 2)
        blocks = values.reshape(-1, 10).mean(axis=1)
        cut = 0
        while True:
            rest = blocks[cut:]
            # The rule looks at cuts in the first half, those of pymser up to there; cut there, it is asked again.
            mse = np.asarray(pymser.calculate_MSEm(rest, batch_size=1).cpu(), dtype=float)
            more = int(mse[: len(rest) // 2 + 1].argmin())
            cut += more
            if more < len(rest) // 2 or len(blocks) - cut < 12:
                break
        out.append({"values": values.tolist(), "cut": cut})
    return out


if __name__ == "__main__":
    made = {name: version(name) for name in ("numpy", "scipy", "pymser")}
    made = {"made with": made, "amounts": amounts(), "levels": levels(), "soaks": soaks()}
    (HERE / "readings.json").write_text(json.dumps(made) + "\n")
