#!/usr/bin/env python3
"""Makes tests/reference/learned.json: data with what general libraries make of them.

    python3 -m venv v && v/bin/pip install lifelines==0.30.3 scipy==1.17.1 statsmodels==0.15.0
    v/bin/python tests/reference/learned.py > tests/reference/learned.json

`waits`: the data set `waltons` of lifelines (days, whether the end was seen), with its KaplanMeierFitter. `trend`: invented
prices with ties in time, with scipy.stats.theilslopes. `logit`: the data set `spector` of statsmodels (Spector and Mazzeo
1980; public domain), grade improved by grade point average, with Logit, and with Firth's penalty written out and
scipy.optimize.minimize.
"""
import json
import sys

import lifelines
import numpy as np
import scipy
import statsmodels
import statsmodels.api as sm
from lifelines import KaplanMeierFitter
from lifelines.datasets import load_waltons
from scipy.optimize import minimize
from scipy.stats import theilslopes

waltons = load_waltons()
fit = KaplanMeierFitter(alpha=0.1).fit(waltons["T"], waltons["E"])
interval = fit.confidence_interval_
steps = [
    [float(t), float(s), float(low), float(high)]
    for (t, s), (low, high) in zip(fit.survival_function_["KM_estimate"].items(), interval.to_numpy())
]

rng = np.random.default_rng(5)
days = np.sort(rng.integers(0, 700, 25)).astype(float)
days[5] = days[4]
price = np.round(np.exp(6.5 + 0.0004 * days + rng.normal(0, 0.2, 25)))
slope, intercept, low, high = theilslopes(np.log(price), days, alpha=0.9)

spector = sm.datasets.spector.load_pandas()
x = spector.exog["GPA"].to_numpy()
y = spector.endog.to_numpy()
logit = sm.Logit(y, sm.add_constant(x)).fit(disp=0, tol=1e-12, maxiter=200)



def penalised(b):
    chance = 1 / (1 + np.exp(-(b[0] + b[1] * x)))
    design = sm.add_constant(x)
    information = design.T @ (design * (chance * (1 - chance))[:, None])
    likelihood = (y * np.log(chance) + (1 - y) * np.log1p(-chance)).sum()
    return -likelihood - np.linalg.slogdet(information)[1] / 2


firth = minimize(penalised, logit.params, method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-13, "maxiter": 20000})

json.dump({
    "source": f"lifelines {lifelines.__version__}, scipy {scipy.__version__}, statsmodels {statsmodels.__version__}",
    "waits": {"rows": [[float(t), bool(e)] for t, e in zip(waltons["T"], waltons["E"])], "steps": steps,
              "median": float(fit.median_survival_time_)},
    "trend": {"days": days.tolist(), "price": price.tolist(), "slope": float(slope), "low": float(low), "high": float(high)},
    "logit": {"x": x.tolist(), "y": [bool(v) for v in y], "coefficients": logit.params.tolist(),
              "errors": logit.bse.tolist(), "firth": firth.x.tolist()},
}, sys.stdout, separators=(",", ":"))
print()
