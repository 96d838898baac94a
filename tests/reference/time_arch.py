"""Times the interval by arch, the other side of tests/bench/measures.rs: 2000 resamples of 9000 frames.

Use: pip install -r requirements.txt && python time_arch.py
"""

import time

import numpy as np
from arch.bootstrap import StationaryBootstrap

from make_vectors import long_tailed

ns = long_tailed(9000, 0.97, 0.004, 1).astype(float)
for block in (2.5, 50, 100):
    for name, rates in {
        "average": lambda x: np.array([1e9 / x.mean()]),
        "average and 1% low": lambda x: np.array([1e9 / x.mean(), 1e9 / np.quantile(x, 0.99)]),
    }.items():
        times = []
        for seed in range(3):
            boot = StationaryBootstrap(block, ns, seed=np.random.default_rng(seed))
            start = time.perf_counter()
            boot.conf_int(rates, reps=2000, method="percentile")
            times.append(time.perf_counter() - start)
        print(f"block {block}: {name}: {min(times) * 1000:.0f} ms")
