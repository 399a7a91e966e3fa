#!/usr/bin/env python3
"""Makes tests/reference/ratios.json: invented bookings, and what general libraries infer from them.

    python3 -m venv v && v/bin/pip install statsmodels==0.15.0 scipy==1.17.1
    v/bin/python tests/reference/ratios.py > tests/reference/ratios.json

`single`: each operation has one element, so the model is linear in the logarithm: restricted maximum likelihood and best
linear unbiased predictions of statsmodels MixedLM with crossed variance components. `sums`: operations of several elements;
the joint mode for given variances by scipy's minimize (BFGS) on the model as it is written, without any linearisation.
"""
import json
import sys

import numpy as np
import pandas as pd
import scipy
import statsmodels
from scipy.optimize import minimize
from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec

rng = np.random.default_rng(11)
ELEMENTS, PEOPLE, MONTHS, JOBS = 9, 5, 6, 40
theta = 0.1 + rng.normal(0, 0.2, ELEMENTS)
person = rng.normal(0, 0.12, PEOPLE)
month = rng.normal(0, 0.1, MONTHS)
job = rng.normal(0, 0.15, JOBS)


def shop(most):
    rows = []
    for j in range(JOBS):
        for _ in range(8):
            codes = rng.choice(ELEMENTS, rng.integers(1, most + 1), replace=False)
            p, m = int(rng.integers(PEOPLE)), int(j * MONTHS // JOBS)
            standard = {f"E{c}": float(rng.integers(10, 90)) for c in sorted(codes)}
            mean = sum(s * np.exp(theta[int(c[1:])]) for c, s in standard.items())
            minutes = mean * np.exp(person[p] + month[m] + job[j] + rng.normal(0, 0.2))
            rows.append({"job": j, "person": p, "month": m, "standard": standard, "minutes": round(float(minutes), 3)})
    return rows


def mixed(rows):
    frame = pd.DataFrame({
        "log": [np.log(r["minutes"] / next(iter(r["standard"].values()))) for r in rows],
        "element": [next(iter(r["standard"])) for r in rows],
        **{name: [r[name] for r in rows] for name in ("person", "month", "job")},
    })
    names, labels, matrices = ["element", "person", "month", "job"], [], []
    for name in names:
        dummies = pd.get_dummies(frame[name]).astype(float)
        labels.append([list(map(str, dummies.columns))])
        matrices.append([dummies.to_numpy()])
    model = MixedLM(frame["log"], np.ones((len(frame), 1)), groups=np.zeros(len(frame)),
                    exog_vc=VCSpec(names, labels, matrices))
    fit = model.fit(reml=True, method="bfgs", gtol=1e-9, maxiter=5000)
    at, effects = 0, {}
    values = list(next(iter(fit.random_effects.values())))
    for name, columns in zip(names, labels):
        effects[name] = {c: float(values[at + i]) for i, c in enumerate(columns[0])}
        at += len(columns[0])
    return {"mean": float(fit.fe_params.iloc[0]), "scatter": float(fit.scale),
            "variances": dict(zip(names, map(float, fit.vcomp))), "effects": effects}


def joint(rows, v):
    sizes = [ELEMENTS, PEOPLE, MONTHS, JOBS]
    ends = np.cumsum([1] + sizes)
    standard = np.zeros((len(rows), ELEMENTS))
    for i, r in enumerate(rows):
        for c, s in r["standard"].items():
            standard[i, int(c[1:])] = s
    log = np.log([r["minutes"] for r in rows])
    p, m, j = (np.array([r[n] for r in rows]) for n in ("person", "month", "job"))
    prior = np.concatenate([[1 / 400], *([1 / v[n]] * s for n, s in zip(("element", "person", "month", "job"), sizes))])

    def parts(x):
        return x[0] + x[1:ends[1]], x[ends[1]:ends[2]], x[ends[2]:ends[3]], x[ends[3]:]

    def loss(x):
        t, a, b, c = parts(x)
        left = log - np.log(standard @ np.exp(t)) - a[p] - b[m] - c[j]
        return (left @ left) / v["scatter"] / 2 + (prior * x * x).sum() / 2

    def slope(x):
        t, a, b, c = parts(x)
        share = standard * np.exp(t)
        whole = share.sum(1)
        left = (log - np.log(whole) - a[p] - b[m] - c[j]) / v["scatter"]
        g = prior * x
        element = share / whole[:, None]
        g[0] -= left.sum()
        g[1:ends[1]] -= element.T @ left
        np.subtract.at(g, ends[1] + p, left)
        np.subtract.at(g, ends[2] + m, left)
        np.subtract.at(g, ends[3] + j, left)
        return g

    found = minimize(loss, np.zeros(ends[-1]), jac=slope, method="BFGS", options={"gtol": 1e-9, "maxiter": 20000})
    t, a, b, c = parts(found.x)
    assert np.abs(slope(found.x)).max() < 1e-5, found
    return {"variances": v, "elements": {f"E{i}": float(x) for i, x in enumerate(t)}, "people": list(map(float, a)),
            "jobs": list(map(float, c))}


single, sums = shop(1), shop(4)
given = {"element": 0.05, "person": 0.012, "month": 0.008, "job": 0.02, "scatter": 0.045}
json.dump({
    "source": f"statsmodels {statsmodels.__version__} MixedLM, scipy {scipy.__version__} minimize, numpy {np.__version__}",
    "single": {"rows": single, "found": mixed(single)},
    "sums": {"rows": sums, "found": joint(sums, given)},
}, sys.stdout, indent=None, separators=(",", ":"))
print()
