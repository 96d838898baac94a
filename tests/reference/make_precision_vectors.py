"""Makes vectors/precision.json, the outside numbers that precision.rs holds repeatability and reproducibility against.

Use: pip install -r requirements.txt && python make_precision_vectors.py

- NIST StRD analysis of variance (https://www.itl.nist.gov/div898/strd/): data and certified F, as scipy's wheel ships
  them with its own tests.
- F quantiles: scipy.stats.f.ppf.
"""

import json
from importlib.metadata import version
from importlib.resources import files
from pathlib import Path

from scipy import stats

SETS = ["SiRstv", "AtmWtAg", "SmLs01"]


def anova(name):
    lines = (files(stats) / "tests" / "data" / "nist_anova" / f"{name}.dat").read_text().splitlines()
    between = next(line for line in lines if line.startswith("Between"))
    within = next(line for line in lines if line.startswith("Within"))
    groups = {}
    for line in lines[60:]:
        if line.strip():
            group, value = line.split()
            groups.setdefault(int(group), []).append(float(value))
    return {
        "name": name,
        "groups": [groups[key] for key in sorted(groups)],
        "f": float(between.split()[-1]),
        "within": float(within.split()[-1]),
    }


def quantiles():
    cases = [(0.95, 2, 14), (0.99, 2, 14), (0.99375, 2, 14), (0.9, 1, 1), (0.995, 4, 20), (0.5, 3, 7), (0.999, 30, 60)]
    return [{"p": p, "df1": a, "df2": b, "f": float(stats.f.ppf(p, a, b))} for p, a, b in cases]


out = {"versions": {"scipy": version("scipy")}, "anova": [anova(name) for name in SETS], "f": quantiles()}
Path(__file__).with_name("vectors").joinpath("precision.json").write_text(json.dumps(out, indent=1) + "\n")
