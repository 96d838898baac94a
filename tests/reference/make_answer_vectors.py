"""Makes vectors/answers.json, the outside numbers that answers.rs holds tuning, worth and the readers' answers against.

Use: pip install -r requirements.txt && python make_answer_vectors.py

Monotone concave fits: cvxpy with Clarabel on the fitted values themselves (not the basis that the code uses), and
scipy.optimize.nnls; where the isotonic fit of scikit-learn is already concave it must be the same fit. Knees: kneed,
with the example of the paper (Satopaa et al. 2011, figure 2). Saturating law: scipy.optimize.curve_fit on NIST StRD
BoxBOD and Misra1a; data and certified values are NIST's. Holm: statsmodels. Fieller: its quadratic written out, on the
same passes as Welch's interval of the logs. Weighted leads: by hand with numpy and scipy's Student t.
"""

import json
from importlib.metadata import version
from pathlib import Path

import cvxpy as cp
import numpy as np
from kneed import KneeLocator
from scipy import optimize, stats
from sklearn.isotonic import IsotonicRegression
from statsmodels.stats.multitest import multipletests

HERE = Path(__file__).parent / "vectors"
RNG = np.random.default_rng(20260301)


def concave_qp(x, y):
    f = cp.Variable(len(x))
    slopes = [(f[i + 1] - f[i]) / (x[i + 1] - x[i]) for i in range(len(x) - 1)]
    rules = [s >= 0 for s in slopes] + [slopes[i] >= slopes[i + 1] for i in range(len(slopes) - 1)]
    cp.Problem(cp.Minimize(cp.sum_squares(f - y)), rules).solve(
        solver=cp.CLARABEL, tol_gap_abs=1e-14, tol_gap_rel=1e-14, tol_feas=1e-14)
    return f.value


def concave_nnls(x, y):
    basis = [np.minimum(x, w) - x[0] for w in x[1:]]
    a = np.column_stack([np.ones_like(x), -np.ones_like(x)] + basis)
    d, _ = optimize.nnls(a, y)
    return a @ d


def curves():
    out = []
    for case in range(12):
        n = 4 + case % 7
        x = np.sort(RNG.choice(np.arange(250, 620, 5), n, replace=False)).astype(float)
        y = np.round(100 * (1 - np.exp(-x / 180)) + RNG.normal(0, [0.1, 1.0, 4.0][case % 3], n), 3)
        if case == 5:
            y = y[::-1].copy()
        qp, nn = concave_qp(x, y), concave_nnls(x, y)
        assert np.abs(qp - nn).max() < 1e-5, (case, np.abs(qp - nn).max())
        iso = IsotonicRegression().fit(x, y).predict(x)
        slopes = np.diff(iso) / np.diff(x)
        is_concave = bool(np.all(np.diff(slopes) <= 1e-12))
        out.append({"watts": list(x), "rates": list(y), "nnls": list(nn), "qp": list(qp),
                    "isotonic": list(iso) if is_concave else None})
    return out


def knees():
    x = np.linspace(0, 1, 10)
    paper = -1 / (x + 0.1) + 5
    cases = [("paper, figure 2", x, paper)]
    for n, bend in ((5, 2.0), (8, 6.0), (20, 4.0), (60, 9.0)):
        watts = np.linspace(300, 560, n)
        cases.append((f"{n} points", watts, 1 - np.exp(-bend * (watts - 250) / 310)))
    watts = np.linspace(300, 560, 27)
    two = np.minimum(watts, 380) * 1.0 + 0.3 * np.minimum(np.maximum(watts - 380, 0), 90)
    cases.append(("three straight stretches", watts, two))
    out = []
    for name, xs, ys in cases:
        for s in (1.0, 2.0):
            found = KneeLocator(xs, ys, S=s, curve="concave", direction="increasing").knee
            out.append({"name": name, "x": list(map(float, xs)), "y": list(map(float, ys)), "sensitivity": s,
                        "knee": None if found is None else float(found)})
    return out


BOXBOD = ([1, 2, 3, 5, 7, 10], [109, 149, 149, 191, 213, 224])
MISRA1A = ([77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0],
           [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78])
# Certified by NIST: b1, b2, residual sum of squares.
CERTIFIED = {"BoxBOD": (2.1380940889e2, 5.4723748542e-1, 1.1680088766e3),
             "Misra1a": (2.3894212918e2, 5.5015643181e-4, 1.2455138894e-1)}


def saturating():
    out = []
    for name, (x, y), start in (("BoxBOD", BOXBOD, (100, 0.75)), ("Misra1a", MISRA1A, (250, 5e-4))):
        x, y = np.array(x, float), np.array(y, float)
        (b1, b2), _ = optimize.curve_fit(lambda x, b1, b2: b1 * (1 - np.exp(-b2 * x)), x, y, start,
                                        ftol=1e-15, xtol=1e-15, gtol=1e-15)
        squares = float(np.sum((y - b1 * (1 - np.exp(-b2 * x))) ** 2))
        for got, want in zip((b1, b2, squares), CERTIFIED[name]):
            assert abs(got / want - 1) < 1e-6, name
        out.append({"name": name, "x": list(x), "y": list(y), "certified": CERTIFIED[name]})
    return out


def holm():
    out = []
    for m in (1, 2, 5, 8, 12):
        p = [float(v) for v in np.round(RNG.uniform(0, 1, m) ** 3, 6)]
        out.append({"p": p, "adjusted": [float(v) for v in multipletests(p, method="holm")[1]]})
    out.append({"p": [0.01, 0.01, 0.03, 0.005], "adjusted":
                [float(v) for v in multipletests([0.01, 0.01, 0.03, 0.005], method="holm")[1]]})
    return out


def fieller():
    """{R: (b - R a)^2 <= t^2 (v_b + R^2 v_a)}, degrees of freedom by Satterthwaite at the ratio of the means."""
    out = []
    for spread in (0.005, 0.01, 0.02):
        for n in (3, 5):
            a = np.round(100 * np.exp(spread * RNG.standard_normal(n)), 4)
            b = np.round(127 * np.exp(spread * RNG.standard_normal(n)), 4)
            va, vb, r = a.var(ddof=1) / n, b.var(ddof=1) / n, b.mean() / a.mean()
            parts = (vb, r * r * va)
            t = stats.t.ppf(0.975, sum(parts) ** 2 / sum(v * v / (n - 1) for v in parts))
            roots = np.roots([a.mean() ** 2 - t * t * va, -2 * a.mean() * b.mean(), b.mean() ** 2 - t * t * vb])
            out.append({"a": list(a), "b": list(b), "spread": spread, "ratio": float(r),
                        "interval": sorted(float(v) for v in roots)})
    return out


def leads():
    """Weighted mean of logs; variances of the cells' own spreads summed with squared shares."""
    out = []
    for weights in ((1, 1, 1), (5, 1, 0), (2, 3, 7), (0, 0, 4, 1)):
        plays, logs, variances, parts, shares = [], [], [], [], []
        for w in weights:
            a = [round(float(v), 4) for v in 90 * np.exp(0.006 * RNG.standard_normal(3))]
            b = [round(float(v), 4) for v in 115 * np.exp(0.006 * RNG.standard_normal(4))]
            plays.append({"weight": w, "a": a, "b": b})
            if w:
                share = w / sum(weights)
                v_a, v_b = np.var(np.log(a), ddof=1) / 3, np.var(np.log(b), ddof=1) / 4
                logs.append(share * (np.mean(np.log(b)) - np.mean(np.log(a))))
                variances.append(share**2 * (v_a + v_b))
                parts.append(share**4 * (v_a**2 / 2 + v_b**2 / 3))
                shares.append(share)
        d, v = sum(logs), sum(variances)
        half = stats.t.ppf(0.975, v * v / sum(parts)) * np.sqrt(v)
        out.append({"plays": plays, "ratio": float(np.exp(d)),
                    "interval": [float(np.exp(d - half)), float(np.exp(d + half))]})
    return out


body = {
    "versions": {n: version(n) for n in ("numpy", "scipy", "statsmodels", "scikit-learn", "cvxpy", "kneed")},
    "curves": curves(), "knees": knees(), "saturating": saturating(), "holm": holm(), "fieller": fieller(),
    "leads": leads(),
}
(HERE / "answers.json").write_text(json.dumps(body, indent=1) + "\n")
