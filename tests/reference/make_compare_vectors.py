"""Makes vectors/compare.json and vectors/compare_r.json, the outside numbers that compare.rs holds the code against.

Use: pip install -r requirements.txt && python make_compare_vectors.py
compare_r.json needs R with limma and metafor (Debian: r-bioc-limma, r-cran-metafor); without R it is left as it is.

Everything here is written from the published formulas with numpy and scipy, apart from the code under test:
Welch by scipy.stats.ttest_ind, equivalence by statsmodels ttost_ind, Smyth's (2004) moments by polygamma and a
bracketing root finder, Satterthwaite's degrees of freedom by hand.
"""

import json
import shutil
import subprocess
from importlib.metadata import version
from pathlib import Path

import numpy as np
from scipy import optimize, special, stats
from statsmodels.stats.weightstats import ttost_ind

HERE = Path(__file__).parent / "vectors"
RNG = np.random.default_rng(20260119)


def write(name, body):
    (HERE / name).write_text(json.dumps(body, indent=1) + "\n")


def distributions():
    dfs = [1, 1.5, 2, 2.3, 3, 4, 5.5, 7.9, 12.4, 30, 54.2, 120, 200, 999.5, 5000, 40000, 1e5, 2e5, 1e7]
    ps = [0.9, 0.95, 0.975, 0.995, 0.05]
    t = [[p, df, stats.t.ppf(p, df)] for df in dfs for p in ps]
    tails = [[x, df, 2 * stats.t.sf(x, df)] for df in dfs for x in (0.3, 1.7, 2.9, 6.0)]
    normal = [[p, stats.norm.ppf(p)] for p in (1e-6, 0.05, 0.3, 0.5, 0.975, 0.995)]
    return {"t_quantile": t, "t_two_sided_p": tails, "normal_quantile": normal}


def passes(mean, spread, n):
    """Pass averages in fps, four decimals as a log would give them."""
    return [round(float(v), 4) for v in mean * np.exp(spread * RNG.standard_normal(n))]


def welch():
    """scipy.stats.ttest_ind(ln b, ln a, equal_var=False), exponentiated; two one-sided tests by statsmodels."""
    cases = []
    shapes = [(3, 3), (5, 4), (4, 8), (3, 5), (6, 6)]
    for i, ratio in enumerate([1.24, 1.0, 1.012, 0.985, 1.005, 1.03, 0.84, 1.001]):
        for spread in (0.001, 0.006, 0.02):
            n_a, n_b = shapes[i % len(shapes)]
            a, b = passes(140.0, spread, n_a), passes(140.0 * ratio, spread * 1.5, n_b)
            test = stats.ttest_ind(np.log(b), np.log(a), equal_var=False)
            ci95, ci90 = test.confidence_interval(0.95), test.confidence_interval(0.90)
            margin = (0.02, 0.03)[i % 2]
            tost = ttost_ind(b, a, 1 / (1 + margin), 1 + margin, usevar="unequal", transform=np.log)
            cases.append({
                "a": a, "b": b,
                "ratio": float(np.exp(np.mean(np.log(b)) - np.mean(np.log(a)))),
                "df": float(test.df), "p": float(test.pvalue),
                "interval": [float(np.exp(ci95.low)), float(np.exp(ci95.high))],
                "interval90": [float(np.exp(ci90.low)), float(np.exp(ci90.high))],
                "margin": margin, "tost_p": float(tost[0]),
            })
    return cases


def smyth(s2, df):
    """d0 (None: infinite) and s0^2 by the moments of ln s^2; zeros at the smallest positive value."""
    s2, df = np.asarray(s2, float), np.asarray(df, float)
    s2 = np.where(s2 > 0, s2, s2[s2 > 0].min())
    e = np.log(s2) - special.digamma(df / 2) + np.log(df / 2)
    rest = np.var(e, ddof=1) - np.mean(special.polygamma(1, df / 2))
    if rest <= 0:
        return None, float(np.mean(s2))
    half = optimize.brentq(lambda y: special.polygamma(1, y) - rest, 1e-9, 1e9, xtol=1e-14, rtol=1e-14)
    return 2 * half, float(np.exp(np.mean(e) + special.digamma(half) - np.log(half)))


MODERATION = {
    "scatter of chance": ([.8e-4, 1.3e-4, 2.1e-4, .4e-4, 1.9e-4, .9e-4, 1.1e-4, 5.2e-4], [2, 2, 3, 2, 4, 2, 2, 3]),
    "two kinds of game": ([1e-6, 4e-4, 2e-5, 9e-5, 3e-3, 6e-6, 1.5e-4, 7e-4], [2, 4, 3, 2, 2, 4, 2, 3]),
    "nearly alike": ([4e-5, 1.1e-4, 2.6e-4, 0.6e-5, 1.9e-4, 0.9e-4, 1.1e-4, 6.4e-4, 2e-5, 1.5e-4], [3, 4, 4, 3, 4, 4, 4, 4, 3, 4]),
    "five long cells": ([1.1e-4, 1.9e-4, 0.7e-4, 3.1e-4, 1.3e-4], [19, 24, 29, 14, 39]),
    "an equal cell": ([0.0, 4e-4, 2e-5, 9e-5, 3e-3, 6e-6], [2, 4, 3, 2, 2, 4]),
}


def moderation():
    out = []
    for name, (s2, df) in MODERATION.items():
        d0, s0_2 = smyth(s2, df)
        out.append({"name": name, "s2": s2, "df": df, "d0": d0, "s0_2": s0_2})
    return out


def suite():
    """Eight scenes, two parts, three to five passes: the whole chain with moderated spreads (d0 capped at 50)."""
    cells = []
    for scene in range(8):
        spread = [0.003, 0.004, 0.003, 0.011, 0.002, 0.006, 0.004, 0.009][scene]
        lead = [1.31, 1.24, 1.27, 1.19, 1.02, 1.26, 1.22, 1.29][scene]
        base = [90, 61, 120, 75, 140, 55, 210, 98][scene]
        cells.append((passes(base, spread, 3 + scene % 3), passes(base * lead, spread, 3 + (scene + 1) % 3)))
    s2 = [np.var(np.log(p), ddof=1) for cell in cells for p in cell]
    dfs = [len(p) - 1 for cell in cells for p in cell]
    d0, s0_2 = smyth(s2, dfs)
    d0 = 50.0 if d0 is None else min(d0, 50.0)

    def moderated(p):
        d = len(p) - 1
        return (d0 * s0_2 + d * np.var(np.log(p), ddof=1)) / (d0 + d), d0 + d

    scenes, logs, variances, df_parts = [], [], [], []
    for a, b in cells:
        (s2_a, df_a), (s2_b, df_b) = moderated(a), moderated(b)
        v_a, v_b = s2_a / len(a), s2_b / len(b)
        d = float(np.mean(np.log(b)) - np.mean(np.log(a)))
        df = (v_a + v_b) ** 2 / (v_a**2 / df_a + v_b**2 / df_b)
        half = stats.t.ppf(0.975, df) * np.sqrt(v_a + v_b)
        half_a = stats.t.ppf(0.975, df_a) * np.sqrt(v_a)
        mean_a = float(np.mean(np.log(a)))
        scenes.append({
            "a": a, "b": b, "ratio": float(np.exp(d)), "df": float(df),
            "interval": [float(np.exp(d - half)), float(np.exp(d + half))],
            "cell_a": [float(stats.gmean(a)), float(np.exp(mean_a - half_a)), float(np.exp(mean_a + half_a))],
        })
        # Over scenes the cells' own variances are summed, not the moderated ones.
        own_a, own_b = np.var(np.log(a), ddof=1) / len(a), np.var(np.log(b), ddof=1) / len(b)
        logs.append(d)
        variances.append(own_a + own_b)
        df_parts.append(own_a**2 / (len(a) - 1) + own_b**2 / (len(b) - 1))
    k, mean = len(logs), float(np.mean(logs))
    se = np.sqrt(sum(variances)) / k
    df = sum(variances) ** 2 / sum(df_parts)
    half = stats.t.ppf(0.975, df) * se
    between = float(np.var(logs, ddof=1))
    tau2 = max(0.0, between - float(np.mean(variances)))
    ahead = stats.t.ppf(0.975, k - 1) * np.sqrt(tau2 + between / k)
    without = [float(np.exp((sum(logs) - x) / (k - 1))) for x in logs]
    return {
        "d0": d0, "s0_2": s0_2, "scenes": scenes, "overall": float(np.exp(mean)), "df": float(df),
        "interval": [float(np.exp(mean - half)), float(np.exp(mean + half))],
        "tau2": tau2, "another": [float(np.exp(mean - ahead)), float(np.exp(mean + ahead))], "without": without,
    }


def two_rigs():
    """Mean over two rigs of the differences within each; spread pooled within rigs; no moderation."""
    rigs_a = [passes(100.0, 0.004, 4), passes(99.0, 0.004, 3)]
    rigs_b = [passes(122.0, 0.006, 3), passes(120.8, 0.006, 5)]

    def side(rigs):
        logs = [np.log(r) for r in rigs]
        df = sum(len(x) - 1 for x in logs)
        s2 = sum(((x - x.mean()) ** 2).sum() for x in logs) / df
        return np.mean([x.mean() for x in logs]), s2 * sum(1 / len(x) for x in logs) / 4, df

    (m_a, v_a, df_a), (m_b, v_b, df_b) = side(rigs_a), side(rigs_b)
    df = (v_a + v_b) ** 2 / (v_a**2 / df_a + v_b**2 / df_b)
    half = stats.t.ppf(0.975, df) * np.sqrt(v_a + v_b)
    d = m_b - m_a
    return {"a": rigs_a, "b": rigs_b, "ratio": float(np.exp(d)), "df": float(df),
            "interval": [float(np.exp(d - half)), float(np.exp(d + half))]}


def passes_wanted():
    out = []
    for s in (0.002, 0.005, 0.012, 0.021):
        for done in (3, 5, 8):
            for x in (0.005, 0.01, 0.02):
                n = 2
                while stats.t.ppf(0.975, n - 1) * s / np.sqrt(n) > x:
                    n += 1
                stein = max(done, int(np.ceil((stats.t.ppf(0.975, done - 1) * s / x) ** 2)))
                out.append({"s": s, "done": done, "target": x, "expected": n, "guaranteed": stein})
    return out


SCENES_Y = [1.33, 1.38, 1.44, 1.23, 1.41, 1.28]
SCENES_SE = [.01, .012, .02, .008, .01, .015]

R_SCRIPT = """
suppressMessages({library(limma); library(metafor)})
num <- function(x) paste0('[', paste(ifelse(is.finite(x), sprintf('%.17g', x), 'null'), collapse=', '), ']')
cases <- list(CASES)
parts <- sapply(names(cases), function(name) {
  fit <- squeezeVar(cases[[name]][[1]], df=cases[[name]][[2]])
  sprintf('{"name": "%s", "d0": %s, "s0_2": %s, "moderated": %s}', name, num(fit$df.prior), num(fit$var.prior), num(fit$var.post))
})
y <- log(c(YS)); se <- c(SES)
fit <- rma(y, sei=se, method='HE', test='knha', weighted=FALSE)
ahead <- predict(fit)
cat(sprintf('{"versions": {"R": "%s", "limma": "%s", "metafor": "%s"},\n', getRversion(), packageVersion('limma'), packageVersion('metafor')))
cat(sprintf('"y": %s, "se": %s, "tau2": %s, "prediction": %s,\n', num(y), num(se), num(fit$tau2), num(c(ahead$pi.lb, ahead$pi.ub))))
cat('"squeeze_var": [', paste(parts, collapse=',\n'), ']}')
"""


def from_r():
    if not shutil.which("Rscript"):
        print("no Rscript: compare_r.json left as it is")
        return
    vector = lambda x: "c(" + ",".join(repr(float(v)) for v in x) + ")"
    # limma floors zeros in its own way, so the case with one is left to the moments above.
    cases = ", ".join(f"'{k}'=list({vector(s)}, {vector(d)})" for k, (s, d) in MODERATION.items() if min(s) > 0)
    script = R_SCRIPT.replace("CASES", cases).replace("YS", ",".join(map(str, SCENES_Y)))
    script = script.replace("SES", ",".join(map(str, SCENES_SE)))
    out = subprocess.run(["Rscript", "--vanilla", "-e", script], check=True, capture_output=True, text=True)
    write("compare_r.json", json.loads(out.stdout))


write("compare.json", {
    "versions": {name: version(name) for name in ("numpy", "scipy", "statsmodels")},
    "distributions": distributions(),
    "welch": welch(),
    "moderation": moderation(),
    "suite": suite(),
    "two_rigs": two_rigs(),
    "passes": passes_wanted(),
})
from_r()
