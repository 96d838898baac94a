#!/usr/bin/env python3
"""Writes vectors/periods.json: folded event times by astropy and scipy, truncation points by pymser.

    pip install -r requirements.txt && python make_period_vectors.py
"""

import json
import pathlib

import numpy as np
import pymser
import scipy.stats
from astropy.stats import circstats


def events():
    """Event times, seconds: a timer with jitter and gaps, a plain one, and scattered ones."""
    rng = np.random.default_rng(20_261_126)
    beats = np.arange(80)
    kept = beats[rng.random(80) > 0.2]
    return {
        "every 0.75 s, 4 % jitter, a fifth missing": 0.4 + 0.75 * kept + 0.03 * rng.normal(size=len(kept)),
        "every 2 s": 1.0 + 2.0 * np.arange(15),
        "scattered": np.sort(60 * rng.random(40)),
    }


def folded(times, frequency):
    """Z^2 of one and two harmonics from astropy's mean resultant lengths (Z^2_1 = 2 N R^2)."""
    z = []
    for k in (1, 2):
        angles = 2 * np.pi * ((k * frequency * times) % 1.0)
        r = circstats.circmoment(angles, p=1)[1]
        z.append(2 * len(times) * float(r) ** 2)
    one, two = z[0], z[0] + z[1]
    return {
        "frequency": frequency,
        "z1": one,
        "z2": two,
        "chance1": float(scipy.stats.chi2.sf(one, 2)),
        "chance2": float(scipy.stats.chi2.sf(two, 4)),
    }


def series():
    """Settling starts of several lengths, rounded so that JSON holds them exactly."""
    rng = np.random.default_rng(7)
    def settled(length, height, decay):
        start = height * np.exp(-np.arange(length) / decay) if decay else np.zeros(length)
        return np.round(start + rng.normal(size=length), 6)
    return {"long": settled(120, 12.0, 6.0), "short": settled(60, 20.0, 1.5), "none": settled(100, 0.0, 0.0)}


def main():
    out = {
        "folds": [
            {
                "name": name,
                "times": [round(float(t), 6) for t in times],
                "at": [folded(np.round(times, 6), f) for f in (1 / 0.75, 0.5, 2.9, 0.013)],
            }
            for name, times in events().items()
        ],
        "truncations": [],
    }
    for name, y in series().items():
        # The rule looks at cuts in the first half: those of pymser up to there.
        mse = np.asarray(pymser.calculate_MSEm(y, batch_size=1).cpu(), dtype=float)
        out["truncations"].append(
            {"name": name, "y": y.tolist(), "cut": int(np.argmin(mse[: len(y) // 2 + 1]))}
        )
    path = pathlib.Path(__file__).parent / "vectors" / "periods.json"
    path.write_text(json.dumps(out, separators=(",", ":")) + "\n")


if __name__ == "__main__":
    main()
