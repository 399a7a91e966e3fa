#!/usr/bin/env python3
"""Reference for the planning engine: weighted lateness of shop files by OR-Tools CP-SAT.

The same rules as the engine's validator, written as a constraint model, with time in whole minutes:
machines and people do one thing at a time; an operation takes its machine from the start of its setup to
the end of its run and a person through setup and attended run; work goes on in open hours only, and an
operation that may not pause fits in one window; the setup is the shorter one after the same setup key.

    python3 -m venv v && v/bin/pip install ortools==9.12.4544
    borewright plan sample week --jobs 4 --seed 1 > shop.json
    v/bin/python tests/reference/plan_cpsat.py --seconds 60 --workers 1 shop.json

Prints a line a file: name, weighted lateness, lower bound, OPTIMAL or FEASIBLE. With --binary the engine plans the
same file with the same seconds in the same run; then the line goes on with its lateness and bound, and the last line has
both means, over the shops for which CP-SAT found a plan at all:

    v/bin/python tests/reference/plan_cpsat.py --binary target/release/borewright --seconds 20 --horizon 40320 shops/*.json

Working time enters by element constraints: for each pair of calendars the open minutes before every minute are
tabulated, so that an operation that may pause has open(end) - open(start) = its work.
"""
import argparse
import json
import subprocess

from ortools.sat.python import cp_model


def open_set(shop, name, horizon):
    if name is None:
        return bytearray(b"\x01") * horizon
    minutes = bytearray(horizon)
    for a, b in shop["hours"][name]["windows"]:
        for t in range(max(a, 0), min(b, horizon)):
            minutes[t] = 1
    return minutes


def ends_pausing(minutes, work):
    """end[t] for a start at each open t when standing still while closed; None elsewhere."""
    opens = [t for t, o in enumerate(minutes) if o]
    end = {}
    for k, t in enumerate(opens):
        if work == 0:
            end[t] = t
        elif k + work - 1 < len(opens):
            end[t] = opens[k + work - 1] + 1
    return end


def stays(machine, joint, attended, alone, may_pause, horizon):
    """All (start, attended_until, end) of a stay, as a dict start -> (until, end)."""
    out = {}
    if attended == 0:
        first = {t: t for t, o in enumerate(machine) if o}
    else:
        first = ends_pausing(joint, attended)
    rest = ends_pausing(machine, alone)
    opens_next = [horizon] * (horizon + 1)
    for t in range(horizon - 1, -1, -1):
        opens_next[t] = t if machine[t] else opens_next[t + 1]
    for s, u in first.items():
        if alone == 0:
            e = u
        else:
            e = rest.get(opens_next[min(u, horizon)])
            if e is None:
                continue
        if not may_pause and e - s != attended + alone:
            continue
        out[s] = (u, e)
    return out


def solve(shop, seconds, workers, horizon):
    m = cp_model.CpModel()
    machines = {x["name"]: x for x in shop["machines"]}
    people = {x["name"]: x for x in shop["people"]}
    open_m = {n: open_set(shop, x.get("hours"), horizon) for n, x in machines.items()}
    open_p = {n: open_set(shop, x.get("hours"), horizon) for n, x in people.items()}
    joint = {}
    by_machine = {n: [] for n in machines}
    by_person = {n: [] for n in people}
    costs = []
    cache = {}

    def table(mach, pers, attended, alone, pause):
        key = (mach, pers, attended, alone, pause)
        if key not in cache:
            if pers is not None and (mach, pers) not in joint:
                joint[mach, pers] = bytes(a & b for a, b in zip(open_m[mach], open_p[pers]))
            cache[key] = stays(open_m[mach], joint.get((mach, pers)), attended, alone, pause, horizon)
        return cache[key]

    for job in shop["jobs"]:
        named = {}
        for op in job["operations"]:
            start = m.new_int_var(job["release"], horizon, "s")
            end = m.new_int_var(0, horizon, "e")
            for link in op.get("after", []):
                _, before_end = named[link["operation"]]
                m.add(start >= before_end + link["min_lag"])
                if link.get("max_lag") is not None:
                    m.add(start <= before_end + link["max_lag"])
            named[op["name"]] = (start, end)
            if op.get("outside") is not None:
                m.add(end == start + op["outside"])
                continue
            able = [n for n, x in people.items() if op.get("skill") in x["skills"]] if op.get("skill") else [None]
            chosen = []
            for mode in op["machines"]:
                on = m.new_bool_var("on")
                same = m.new_bool_var("same") if op.get("setup_key") and mode["setup_same_key"] != mode["setup"] else None
                stay = (on, same, start, end, op.get("setup_key"))
                by_machine[mode["machine"]].append(stay)
                who = []
                for pers in able:
                    for is_same in ([False, True] if same is not None else [False]):
                        pick = m.new_bool_var("pick")
                        who.append(pick)
                        if same is not None:
                            m.add(same == int(is_same)).only_enforce_if(pick)
                        setup = mode["setup_same_key"] if is_same else mode["setup"]
                        attended = setup + mode["attended"] if pers is not None else 0
                        alone = setup + mode["run"] - attended
                        t = table(mode["machine"], pers, attended, alone, op["may_pause"])
                        # Starts of equal shape are stretches on which until - start and end - start are constant.
                        runs = []
                        for s in sorted(t):
                            u, e = t[s]
                            if runs and runs[-1][1] == s - 1 and runs[-1][2:] == (u - s, e - s):
                                runs[-1] = (runs[-1][0], s, u - s, e - s)
                            else:
                                runs.append((s, s, u - s, e - s))
                        # A pausing start just before closing has another shape each minute: allow all as a table.
                        until = m.new_int_var(0, horizon, "u")
                        idx = []
                        for a, b, du, de in runs:
                            lit = m.new_bool_var("r")
                            idx.append(lit)
                            m.add(start >= a).only_enforce_if(lit)
                            m.add(start <= b).only_enforce_if(lit)
                            m.add(until == start + du).only_enforce_if(lit)
                            m.add(end == start + de).only_enforce_if(lit)
                        m.add(sum(idx) == pick)
                        m.add(until >= start).only_enforce_if(pick)
                        if pers is not None and attended > 0:
                            size = m.new_int_var(0, horizon, "d")
                            by_person[pers].append(m.new_optional_interval_var(start, size, until, pick, "p"))
                m.add(sum(who) == on)
                chosen.append(on)
            m.add_exactly_one(chosen)
        if job.get("due") is not None:
            late = m.new_int_var(0, horizon, "late")
            for _, end in named.values():
                m.add(late >= end - job["due"])
            costs.append(job["weight"] * late)

    for name, all_stays in by_machine.items():
        # A circuit over the stays of each machine says which follows which, so whose setup is the shorter.
        arcs = [(0, 0, m.new_bool_var("empty"))]
        for i, (on, same, start, end, key) in enumerate(all_stays, 1):
            arcs.append((i, i, on.negated()))
            first = m.new_bool_var("first")
            arcs.append((0, i, first))
            arcs.append((i, 0, m.new_bool_var("last")))
            if same is not None:
                m.add(same == int(machines[name].get("on_table") == key)).only_enforce_if(first)
            for j, (_, same2, start2, _, key2) in enumerate(all_stays, 1):
                if i != j:
                    follows = m.new_bool_var("f")
                    arcs.append((i, j, follows))
                    m.add(start2 >= end).only_enforce_if(follows)
                    if same2 is not None:
                        m.add(same2 == int(key == key2)).only_enforce_if(follows)
        m.add_circuit(arcs)
        stays_on = [m.new_optional_interval_var(s, m.new_int_var(0, horizon, "d"), e, on, "m") for on, _, s, e, _ in all_stays]
        m.add_no_overlap(stays_on)
    for stays_with in by_person.values():
        m.add_no_overlap(stays_with)
    m.minimize(sum(costs))
    s = cp_model.CpSolver()
    s.parameters.max_time_in_seconds = seconds
    s.parameters.num_workers = workers
    status = s.solve(m)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None, None, s.status_name(status)
    return round(s.objective_value), round(s.best_objective_bound), s.status_name(status)


def ours(binary, seconds, file):
    words = [binary, "plan", "solve", file, "--seconds", str(seconds), "--format", "json"]
    plan = json.loads(subprocess.run(words, check=True, capture_output=True, text=True).stdout)
    return plan["late"], plan["bound"]


if __name__ == "__main__":
    a = argparse.ArgumentParser()
    a.add_argument("--seconds", type=float, default=60)
    a.add_argument("--workers", type=int, default=1)
    a.add_argument("--horizon", type=int, default=20160)
    a.add_argument("--binary")
    a.add_argument("files", nargs="+")
    a = a.parse_args()
    pairs, none = [], 0
    for f in a.files:
        with open(f) as text:
            theirs = solve(json.load(text), a.seconds, a.workers, a.horizon)
        mine = ours(a.binary, a.seconds, f) if a.binary else ()
        print(f, *theirs, *mine, flush=True)
        if mine and theirs[0] is None:
            none += 1
        elif mine:
            pairs.append((theirs[0], mine[0]))
    if pairs:
        better = sum(m < t for t, m in pairs)
        worse = sum(m > t for t, m in pairs)
        means = [sum(p[k] for p in pairs) / len(pairs) for k in (0, 1)]
        print(f"mean lateness CP-SAT {means[0]:.0f}, ours {means[1]:.0f} over {len(pairs)}: ours better in {better}, worse in {worse}; no plan by CP-SAT in {none} more")
