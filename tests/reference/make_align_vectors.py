"""Writes vectors/align.json: correlations of overlaps from numpy and the highest raw one from scipy.

Two seeded series of known lag each (37 and -22 places, as in the methods), and a short pair for every move.
"""

import json
import pathlib

import numpy
from scipy import signal


def case(a, b, least):
    a, b = numpy.round(a, 4), numpy.round(b, 4)
    # Move `by`: b[0] stands beside a[by].
    lags, values = [], []
    for lag in signal.correlation_lags(len(a), len(b), "full"):
        low, high = max(0, lag), min(len(a), lag + len(b))
        if high - low < least:
            continue
        lags.append(int(lag))
        values.append(float(numpy.corrcoef(a[low:high], b[low - lag : high - lag])[0, 1]))
    raw = signal.correlate(a - a.mean(), b - b.mean(), "full")
    highest = int(signal.correlation_lags(len(a), len(b), "full")[raw.argmax()])
    return {"a": a.tolist(), "b": b.tolist(), "least": least, "lags": lags, "values": values, "highest": highest}


def main():
    dice = numpy.random.default_rng(9)
    cases = []
    for lag in (37, -22):
        whole = signal.lfilter([1], [1, -0.7], dice.normal(0, 1, 400))
        a, b = whole[60:260], whole[60 + lag : 260 + lag] + dice.normal(0, 0.2, 200)
        cases.append(case(a, b, 100))
        assert cases[-1]["highest"] == lag
    # Noise alone has no lag: only its correlations are compared.
    cases.append(case(dice.normal(300, 9, 12), dice.normal(0.5, 0.1, 9), 5) | {"highest": None})
    path = pathlib.Path(__file__).parent / "vectors" / "align.json"
    path.write_text(json.dumps(cases) + "\n")


if __name__ == "__main__":
    main()
