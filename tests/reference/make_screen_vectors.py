#!/usr/bin/env python3
"""Writes vectors/screens.json: what ruptures, pymannkendall and scipy say on seeded series.

    pip install -r requirements.txt && python make_screen_vectors.py
"""

import json
import pathlib

import numpy as np
import pymannkendall
import ruptures
import scipy.stats


def series():
    """Seeded series with and without steps, trends, ties and correlation, rounded so that JSON holds them exactly."""
    rng = np.random.default_rng(20_260_301)
    noise = lambda n: rng.normal(size=n)

    def ar(n, phi):
        e, x = noise(n), np.zeros(n)
        for i in range(1, n):
            x[i] = phi * x[i - 1] + e[i]
        return x

    steps = np.concatenate([np.zeros(60), np.full(25, 3.0), np.zeros(40), np.full(55, -1.5)])
    return {
        "level": noise(120),
        "steps": steps + noise(180),
        "small steps": 0.4 * steps + noise(180),
        "short": np.array([0.1, 0.3, 5.2, 5.1, 5.3, 0.2, 0.1]),
        "correlated": ar(150, 0.8),
        "correlated with trend": ar(120, 0.6) + 0.03 * np.arange(120),
        "falling with ties": np.round(noise(90) - 0.02 * np.arange(90), 1),
        "heavy tails": rng.standard_t(2, size=100) + 0.01 * np.arange(100),
    }


def main():
    cases = []
    for name, values in series().items():
        y = np.round(values, 6)
        pelt = [
            {
                "min_size": m,
                "penalty": p,
                "ends": [int(e) for e in ruptures.Pelt(model="l2", min_size=m, jump=1).fit(y).predict(pen=p)],
            }
            for m in (2, 5)
            for p in (3.0, 3.0 * np.log(len(y)), 40.0)
            if len(y) >= 2 * m
        ]
        plain = pymannkendall.original_test(y)
        corrected = {
            str(lag): pymannkendall.hamed_rao_modification_test(y, lag=lag).var_s
            for lag in (1, 3, len(y) // 4)
        }
        line = scipy.stats.theilslopes(y, np.arange(len(y)))
        cases.append(
            {
                "name": name,
                "y": y.tolist(),
                "pelt": pelt,
                "mann_kendall": {"s": float(plain.s), "variance": float(plain.var_s), "z": float(plain.z)},
                "hamed_rao_variance": {k: float(v) for k, v in corrected.items()},
                "theil_sen": {"slope": float(line.slope), "intercept": float(line.intercept)},
                "median": float(np.median(y)),
                "mad": float(scipy.stats.median_abs_deviation(y)),
            }
        )
    out = pathlib.Path(__file__).parent / "vectors" / "screens.json"
    out.write_text(json.dumps(cases, separators=(",", ":")) + "\n")


if __name__ == "__main__":
    main()
