#!/usr/bin/env python3
"""The drill: writes through the cluster of `make cluster` while one process after another is killed, then counts.

Two programs take calls down by the JSON interface, each with an Idempotency-Key, and two tablets book time at the bench,
each entry with a key of its own. What is not acknowledged is sent again with the same key until it is. At the end every
acknowledged call and booking must be in the database exactly once, and nothing else. The longest time in which nothing was
acknowledged is taken for each kill; it must stay under 30 seconds.

    cluster/drill.py [NAME ...]      all cases, or those whose name begins so

It works on the demo shop, as its invented people. Exit code 0 only when nothing was lost or doubled and every pause was
short enough.
"""

import contextlib
import http.client
import json
import os
import re
import signal
import sys
import threading
import time
import urllib.error
import urllib.parse
import urllib.request
import uuid
from datetime import datetime, timezone
from http.cookiejar import CookieJar

import cluster
import layout

PASSWORD = "harrow-quay-demo"
PINS = {"Edda Marsh": "6140", "Col Brannick": "4071"}
LONGEST_PAUSE = 30.0
QUIET_BEFORE = 3
QUIET_AFTER = 6
AGAIN_AFTER = 0.2
BETWEEN = 0.05


class Site:
    """A browser without a window at the entry of the cluster."""

    def __init__(self):
        self.opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))

    def page(self, path, fields=None):
        """A page, or what comes after a form was sent."""
        data = None if fields is None else urllib.parse.urlencode(fields).encode()
        with self.opener.open(f"http://127.0.0.1:{layout.ENTRY}{path}", data, timeout=30) as answer:
            return answer.read().decode()

    def post(self, path, body, headers):
        """Sends JSON; what came back."""
        request = urllib.request.Request(
            f"http://127.0.0.1:{layout.ENTRY}{path}", json.dumps(body).encode(),
            {"content-type": "application/json", "accept": "application/json"} | headers)
        with self.opener.open(request, timeout=20) as answer:
            return json.load(answer)


def found(pattern, text):
    """What a pattern finds in a page."""
    match = re.search(pattern, text)
    if not match:
        sys.exit(f"{pattern} is not on the page")
    return match.group(1)


class Writer(threading.Thread):
    """Sends one thing after another, each until it is acknowledged."""

    def __init__(self, name):
        super().__init__(name=name, daemon=True)
        self.ending = threading.Event()
        self.acknowledged = {}
        self.times = []
        self.longest = 0.0
        self.sent_again = 0
        self.refused = []

    def run(self):
        number = 0
        while not self.ending.is_set():
            key = str(uuid.uuid4())
            self.until_acknowledged(key, number)
            number += 1
            time.sleep(BETWEEN)

    def until_acknowledged(self, key, number):
        """Sends with the same key until it is acknowledged; a refusal that sending again cannot mend is a failure."""
        began = time.monotonic()
        at = datetime.now(timezone.utc).isoformat()
        while True:
            try:
                self.acknowledged[key] = self.send(key, number, at)
                break
            except urllib.error.HTTPError as answer:
                answer.close()
                if answer.code < 500:
                    self.refused.append(f"{self.name}: {answer.code}")
                    return
            except (OSError, http.client.HTTPException):
                pass
            self.sent_again += 1
            time.sleep(AGAIN_AFTER)
        now = time.monotonic()
        self.times.append(now)
        self.longest = max(self.longest, now - began)


class Caller(Writer):
    """A program with a token that takes calls down."""

    def __init__(self, name, token, element):
        super().__init__(name)
        self.site, self.token, self.element = Site(), token, element

    def send(self, key, number, _at):
        """One call for work alone; its key in the database."""
        call = {"caller": f"Drill {key}", "contact": "invented", "note": f"call {number}",
                "quick": {"part": "block of the drill", "lines": [{"code": self.element}]}}
        answer = self.site.post("/api/v1/enquiries", call, {"authorization": f"Bearer {self.token}", "idempotency-key": key})
        return answer["id"]


class Tablet(Writer):
    """A known device at the bench at which somebody is signed on."""

    def __init__(self, name, person, operation, machine):
        super().__init__(name)
        self.site, self.operation, self.machine = Site(), operation, machine
        sign_in(self.site)
        csrf = found(r'name="csrf" value="([^"]+)', self.site.page("/shop/devices"))
        self.site.page("/shop/devices", {"csrf": csrf, "name": name})
        shop = "shop_id = (select shop_id from shop_directory where short_name = 'harrow-quay')"
        key = cluster.sql(f"select id from person where {shop} and name = '{person}'", layout.DATABASE)
        self.site.page(f"/bench/sign-on/{key}", {"pin": PINS[person]})
        self.sign_on = found(r'data-sign-on="([^"]+)"', self.site.page("/bench"))

    def send(self, key, number, at):
        """One booking, run and pause in turn."""
        entry = {"key": key, "sign_on": self.sign_on, "kind": "pause" if number % 2 else "run",
                 "operation": self.operation, "machine": self.machine, "at": at}
        body = {"sent_at": datetime.now(timezone.utc).isoformat(), "entries": [entry]}
        outcome = self.site.post("/bench/entries", body, {})["outcomes"][0]
        if outcome["outcome"] not in ("booked", "conflict"):
            self.refused.append(f"{self.name}: {outcome}")
        return key


def sign_in(site):
    """Signs the owner in."""
    site.page("/sign-in", {"sign_in": "edda", "password": PASSWORD})


def token():
    """A token for a program, made as the owner makes one."""
    site = Site()
    sign_in(site)
    csrf = found(r'name="csrf" value="([^"]+)', site.page("/shop/tokens"))
    page = site.page("/shop/tokens", {"csrf": csrf, "note": "drill", "role": "office", "scope": "write", "days": "30"})
    return found(r"([0-9a-f]{32}\.[A-Za-z0-9_-]{43})", page)


def pid(name):
    """The process of a name."""
    return int((layout.state() / "pids" / name).read_text(encoding="utf-8"))


def postmaster(number):
    """The PostgreSQL server of a node."""
    return int((layout.state() / f"node{number}/postmaster.pid").read_text(encoding="utf-8").splitlines()[0])


def children(parent):
    """The processes that one has started."""
    for entry in os.listdir("/proc"):
        if entry.isdigit():
            with contextlib.suppress(OSError), open(f"/proc/{entry}/stat", encoding="utf-8") as stat:
                if int(stat.read().rsplit(")", 1)[1].split()[1]) == parent:
                    yield int(entry)


def kill(*pids):
    """Kills without a word of warning."""
    for one in pids:
        with contextlib.suppress(ProcessLookupError):
            os.kill(one, signal.SIGKILL)


def kill_node(number):
    """As if its machine had lost power: Patroni and every process of PostgreSQL."""
    server = postmaster(number)
    kill(pid(f"node{number}"), server, *children(server))


def leader():
    """The number of the node that takes writes; 0 when there is none."""
    return next((n for n in cluster.NODES if cluster.is_leader(n)), 0)


def is_synchronous(number):
    """Whether commits wait for a node."""
    with contextlib.suppress(OSError):
        return cluster.answers(layout.PATRONI[number - 1], "/synchronous")
    return False


def standby(synchronous):
    """A node that follows: the one that commits wait for, or another."""
    now = leader()
    return next(n for n in cluster.NODES if n != now and is_synchronous(n) == synchronous)


def cases():
    """What is killed, in turn: the name, what is done, and whether it stays down until writes go on."""
    for name in ("web1", "web2", "worker1", "worker2", "pgbouncer", "haproxy", "etcd1", "etcd2", "etcd3"):
        yield name, lambda name=name: kill(pid(name)), False
    yield "asynchronous standby", lambda: kill_node(standby(False)), False
    yield "synchronous standby", lambda: kill_node(standby(True)), False
    yield "leader's PostgreSQL", lambda: kill(postmaster(leader())), False
    yield "leader's Patroni", lambda: kill(pid(f"node{leader()}")), False
    yield "leader, restarted", lambda: kill_node(leader()), False
    yield "leader, gone", lambda: None, True


def is_named(port):
    """Whether etcd names this node as the one that commits wait for."""
    try:
        return cluster.answers(port, "/sync")
    except OSError:
        return False


def is_whole():
    """Whether everything runs, one node leads, commits are waited for by another, and etcd names that one: until it does, a few
    seconds after a leader has begun to lead, nobody may take the leader's place."""
    status = [cluster.answers(port, "/health") for port in layout.PATRONI]
    named = any(is_named(port) for port in layout.PATRONI)
    waiting = cluster.sql("select count(*) from pg_stat_replication where sync_state = 'sync'")
    return all(status) and named and waiting == "1" and all(cluster.answers(port, "/health/ready") for port in layout.WEB)


def pause(writers, since):
    """The longest time since then in which no writer heard that something was saved, seconds."""
    times = sorted(t for writer in writers for t in list(writer.times) if t >= since)
    times = [since, *times, time.monotonic()]
    return max(after - before for before, after in zip(times, times[1:]))


def run_case(writers, name, action, hold):
    """Kills, waits until writes go on and all is whole again; the longest pause."""
    cluster.until("a whole cluster", is_whole)
    time.sleep(QUIET_BEFORE)
    again = sum(w.sent_again for w in writers)
    since = time.monotonic()
    if hold:
        old = leader()
        (layout.state() / "hold" / f"node{old}").touch()
        kill_node(old)
        cluster.until("another leader", lambda: leader() not in (0, old))
        time.sleep(QUIET_AFTER)
        (layout.state() / "hold" / f"node{old}").unlink()
    else:
        action()
    time.sleep(QUIET_AFTER)
    cluster.until("a whole cluster", is_whole)
    longest = pause(writers, since)
    again = sum(w.sent_again for w in writers) - again
    print(f"| {name} | {longest:.1f} s | {again} |", flush=True)
    return longest


def count(callers, tablets, began):
    """What is lost and doubled: acknowledged and not there, there and not acknowledged or more than once."""
    wrong = []
    rows = cluster.sql(f"select caller, count(*), min(id::text) from enquiry where created_at >= '{began}'"
                       " and caller like 'Drill %' group by caller", layout.DATABASE)
    there = {}
    for line in rows.splitlines():
        caller, times, key = line.split("|")
        there[caller.removeprefix("Drill ")] = (int(times), key)
    said = {key: saved for writer in callers for key, saved in writer.acknowledged.items()}
    wrong += [f"call {key} is lost" for key, saved in said.items() if there.get(key, (0, ""))[1] != saved]
    wrong += [f"call {key} is there {times} times" for key, (times, _) in there.items() if times != 1]
    wrong += [f"call {key} was never acknowledged" for key in there if key not in said]
    devices = ", ".join(f"'{writer.operation}'" for writer in tablets)
    rows = cluster.sql(f"select id from booking where received_at >= '{began}' and operation_id in ({devices})",
                       layout.DATABASE).split()
    booked = {key for writer in tablets for key in writer.acknowledged}
    wrong += [f"booking {key} is lost" for key in booked if key not in rows]
    wrong += [f"booking {key} was never acknowledged" for key in rows if key not in booked]
    return len(said), len(booked), wrong


def planned():
    """Whether the plan of the demo shop is of the floor as it is."""
    return cluster.sql("select count(*) from plan p join floor_state f using (shop_id) where p.floor_version = f.version",
                       layout.DATABASE) == "1"


def main(chosen):
    """Runs the cases and says what came of them."""
    began = cluster.sql("select now()")
    element = cluster.sql("select code from element order by code limit 1", layout.DATABASE)
    work = cluster.sql(
        "select o.id, m.id from job_operation o join machine m on m.shop_id = o.shop_id and m.kind = o.machine_kind"
        " where o.state = 'started' order by o.id limit 2", layout.DATABASE).splitlines()
    callers = [Caller(f"program {n}", token(), element) for n in (1, 2)]
    tablets = [Tablet(f"drill tablet {uuid.uuid4().hex[:6]}", person, *line.split("|")) for person, line in zip(PINS, work)]
    writers = callers + tablets
    for writer in writers:
        writer.start()
    print("| killed | longest pause of writes | sent again |\n| --- | --- | --- |", flush=True)
    longest = 0.0
    for name, action, hold in cases():
        if not chosen or any(name.startswith(part) for part in chosen):
            try:
                longest = max(longest, run_case(writers, name, action, hold))
            except TimeoutError as why:
                print(f"| {name} | not whole again: {why} | |", flush=True)
                longest = float("inf")
                break
    for writer in writers:
        writer.ending.set()
    for writer in writers:
        writer.join(60)
    stopped = time.monotonic()
    cluster.until("a plan of the floor as it is", planned, 180)
    waited = time.monotonic() - stopped
    calls, bookings, wrong = count(callers, tablets, began)
    refused = [line for writer in writers for line in writer.refused]
    print(f"\n{calls} calls and {bookings} bookings were acknowledged; {len(wrong)} lost or doubled, {len(refused)} refused.")
    print(f"Longest pause {longest:.1f} s; the longest wait of one request {max(w.longest for w in writers):.1f} s.")
    print(f"The plan was of the floor as it is {waited:.0f} s after the last booking.")
    for line in (wrong + refused)[:20]:
        print(line)
    return 0 if calls and bookings and not wrong and not refused and longest < LONGEST_PAUSE else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
