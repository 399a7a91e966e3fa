#!/usr/bin/env python3
"""A cluster on one machine, to try and to measure the layout that docs/cluster.md describes.

Starts etcd (3), PostgreSQL under Patroni (3), HAProxy, PgBouncer, borewright's web (2) and workers (2), restarts whatever
dies three seconds later, as the init system of a real machine would, and stops everything in order at Ctrl-C.

    BOREWRIGHT   the program [default: target/release/borewright]
    CLUSTER_DIR  where everything is kept [default: /var/lib/borewright-cluster for root]
    CLUSTER_PORT the first of its ports [default: 8600]

A file hold/NAME in the directory keeps the process NAME down; cluster/drill.py uses it.
"""

import ctypes
import fcntl
import os
import shutil
import signal
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import layout

RESTART_AFTER = 3
STOP_WITHIN = 30
NODES = [1, 2, 3]


class Process:
    """One process: started, looked at, restarted, stopped."""

    def __init__(self, name, command, environment=None):
        self.name, self.command, self.environment = name, command, environment or {}
        self.running = None
        self.died = None

    def start(self):
        """Starts it; what it says goes to a file of its own."""
        kept = {k: v for k, v in os.environ.items() if k in ("PATH", "LANG", "TZ")}
        with open(layout.state() / "logs" / f"{self.name}.log", "ab") as log:
            self.running = subprocess.Popen(
                self.command, stdin=subprocess.DEVNULL, stdout=log, stderr=log, cwd=layout.state(),
                env=kept | {"LC_ALL": "C.UTF-8", "HOME": str(layout.state())} | self.environment,
                start_new_session=True, preexec_fn=end_with_parent, **layout.run_as())
        (layout.state() / "pids" / self.name).write_text(f"{self.running.pid}\n", encoding="utf-8")
        self.died = None
        return self

    def look(self):
        """Starts it again when it has been dead for a while and nobody holds it down."""
        if self.running.poll() is None:
            return
        now = time.monotonic()
        if self.died is None:
            self.died = now
            print(f"{self.name} ended ({self.running.returncode})", flush=True)
        held = (layout.state() / "hold" / self.name).exists()
        if now - self.died >= RESTART_AFTER and not held:
            print(f"{self.name} is started again", flush=True)
            self.start()

    def stop(self):
        """Asks it to end and waits."""
        if self.running is None or self.running.poll() is not None:
            return
        self.running.terminate()
        try:
            self.running.wait(STOP_WITHIN)
        except subprocess.TimeoutExpired:
            print(f"{self.name} did not stop in {STOP_WITHIN} s and is killed", flush=True)
            self.running.kill()
            self.running.wait()


def end_with_parent():
    """Run in the child: no process outlives this program, however it ends (PR_SET_PDEATHSIG is 1, prctl(2))."""
    ctypes.CDLL(None).prctl(1, signal.SIGTERM)


def etcd(node):
    """One member of etcd, which knows the leader."""
    name, port, peer = f"etcd{node}", layout.ETCD_CLIENT[node - 1], layout.ETCD_PEER[node - 1]
    members = ",".join(f"etcd{n}=http://127.0.0.1:{layout.ETCD_PEER[n - 1]}" for n in NODES)
    return Process(name, [
        "etcd", "--name", name, "--data-dir", str(layout.state() / name),
        "--listen-client-urls", f"http://127.0.0.1:{port}", "--advertise-client-urls", f"http://127.0.0.1:{port}",
        "--listen-peer-urls", f"http://127.0.0.1:{peer}", "--initial-advertise-peer-urls", f"http://127.0.0.1:{peer}",
        "--initial-cluster", members, "--initial-cluster-token", "borewright",
        "--heartbeat-interval", "250", "--election-timeout", "2500", "--logger", "zap", "--log-level", "warn"])


def node(number):
    """One PostgreSQL node; Patroni starts and stops the server."""
    name = f"node{number}"
    config = layout.state() / f"{name}.yml"
    words = layout.passwords()
    layout.write(config, layout.template(
        "patroni.yml", name=name, rest=layout.PATRONI[number - 1], port=layout.POSTGRES[number - 1],
        etcd=",".join(f"127.0.0.1:{port}" for port in layout.ETCD_CLIENT), data=layout.state() / name,
        bin=layout.postgres_bin(), state=layout.state(), bind="127.0.0.1", address="127.0.0.1",
        callers="127.0.0.1/32", superuser=words["superuser"],
        replication=words["replication"], rewind=words["rewind"]))
    return Process(name, ["patroni", str(config)])


def haproxy():
    """The way in."""
    config = layout.state() / "haproxy.cfg"
    layout.write(config, layout.template(
        "haproxy.cfg", bind="127.0.0.1", entry=layout.ENTRY, leader=layout.LEADER, status=layout.STATUS,
        **{f"web{n}": f"127.0.0.1:{layout.WEB[n - 1]}" for n in (1, 2)},
        **{f"node{n}": f"127.0.0.1:{layout.POSTGRES[n - 1]}" for n in NODES},
        **{f"patroni{n}": layout.PATRONI[n - 1] for n in NODES}))
    return Process("haproxy", ["/usr/sbin/haproxy", "-db", "-f", str(config)])


def pgbouncer():
    """The pool."""
    config = layout.state() / "pgbouncer.ini"
    words = layout.passwords()
    layout.write(layout.state() / "pgbouncer.users", f'"{layout.SERVICE}" "{words["service"]}"\n')
    layout.write(config, layout.template(
        "pgbouncer.ini", bind="127.0.0.1", host="127.0.0.1", database=layout.DATABASE, leader=layout.LEADER, pool=layout.POOL, state=layout.state()))
    return Process("pgbouncer", ["/usr/sbin/pgbouncer", str(config)])


def web(program, number):
    """One web process; planning is left to the workers."""
    return Process(f"web{number}", [
        program, "serve", "--planners", "0", "--port", str(layout.WEB[number - 1]),
        "--base-url", f"http://127.0.0.1:{layout.ENTRY}", "--behind-proxy", "127.0.0.1"],
        {"SERVICE_DATABASE_URL": layout.web_url()})


def worker(program, number):
    """One worker."""
    return Process(f"worker{number}", [program, "work", "--pool-size", "5"], {"SERVICE_DATABASE_URL": layout.worker_url()})


def sql(text, database="postgres"):
    """Runs statements on the leader as the superuser."""
    environment = os.environ | {"PGPASSWORD": layout.passwords()["superuser"]}
    return subprocess.run(
        [layout.postgres_bin() / "psql", "-XAtq", "-v", "ON_ERROR_STOP=1", "-h", "127.0.0.1", "-p", str(layout.LEADER),
         "-U", "postgres", "-d", database],
        input=text, text=True, env=environment, capture_output=True, check=True).stdout.strip()


def until(what, look, seconds=120):
    """Waits until something is so."""
    give_up = time.monotonic() + seconds
    while time.monotonic() < give_up:
        try:
            if look():
                return
        except (OSError, subprocess.CalledProcessError):
            pass
        time.sleep(0.5)
    raise TimeoutError(f"{what} was waited for in vain; see {layout.state() / 'logs'}")


def answers(port, path):
    """Whether an address answers with 200."""
    with urllib.request.urlopen(f"http://127.0.0.1:{port}{path}", timeout=2) as answer:
        return answer.status == 200


def make_database():
    """Roles and database, when the cluster is new. The owner is no superuser; the service owns nothing."""
    words = layout.passwords()
    if not sql(f"select 1 from pg_roles where rolname = '{layout.OWNER}'"):
        sql(f"create role {layout.OWNER} login createdb createrole bypassrls password '{words['owner']}'")
        sql(f"create role {layout.SERVICE} login noinherit password '{words['service']}'")
        sql(f"create database {layout.DATABASE} owner {layout.OWNER}")


def fill(program):
    """Brings the schema up to date and makes the invented demo shop, once, past the pool."""
    environment = {"PATH": os.environ["PATH"], "HOME": str(layout.state()), "BOREWRIGHT_LOG": "warn"}
    subprocess.run([program, "migrate"], env=environment | {"DATABASE_URL": layout.owner_url()}, check=True,
                   stdout=subprocess.DEVNULL, **layout.run_as())
    if sql("select 1 from shop_directory", layout.DATABASE):
        return
    with subprocess.Popen(
            [program, "demo", "--planners", "0", "--port", str(layout.WEB[0])], stdout=subprocess.PIPE, text=True,
            env=environment | {"SERVICE_DATABASE_URL": layout.worker_url()}, **layout.run_as()) as demo:
        try:
            for line in demo.stdout:
                if line.startswith(("Sign in", "  ")):
                    print(line, end="", flush=True)
                if line.startswith("Stop it"):
                    break
        finally:
            demo.terminate()


def start(program, processes):
    """Starts everything in order; what is running is in `processes`, in that order too."""
    def run(process):
        processes.append(process.start())

    for number in NODES:
        run(etcd(number))
    until("etcd", lambda: answers(layout.ETCD_CLIENT[0], "/health"))
    run(node(1))
    until("a leader", lambda: any(is_leader(number) for number in NODES))
    for number in NODES[1:]:
        run(node(number))
    until("a second and a third node", lambda: all(answers(port, "/health") for port in layout.PATRONI))
    run(haproxy())
    # HAProxy takes every node for the leader until it has looked, and tries them in turn.
    until("the way to the leader", lambda: all(sql("select pg_is_in_recovery()") == "f" for _ in range(6)))
    make_database()
    run(pgbouncer())
    fill(program)
    for number in (1, 2):
        run(web(program, number))
        run(worker(program, number))
    until("the service", lambda: answers(layout.ENTRY, "/health/ready"))


def is_leader(number):
    """Whether a node says that it takes writes; one that is not up yet does not."""
    try:
        return answers(layout.PATRONI[number - 1], "/primary")
    except OSError:
        return False


def main():
    """Starts, watches, stops."""
    state = layout.state()
    for directory in (state, state / "logs", state / "pids", state / "hold"):
        directory.mkdir(parents=True, exist_ok=True)
        layout.give(directory)
    os.chmod(state, 0o700)
    lock = open(state / "lock", "w", encoding="utf-8")
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        sys.exit(f"A cluster is running in {state} already.")
    for held in (state / "hold").iterdir():
        held.unlink()
    named = Path(os.environ.get("BOREWRIGHT") or layout.HERE.parent / "target/release/borewright")
    if not named.is_file():
        sys.exit(f"There is no program at {named}; build it, or name one with BOREWRIGHT.")
    # The user postgres may not reach where it was built.
    program = str(state / "borewright")
    shutil.copyfile(named, program + ".new")
    os.chmod(program + ".new", 0o755)
    os.replace(program + ".new", program)

    def stop(*_):
        raise KeyboardInterrupt

    # Also where a shell in the background has it ignored.
    signal.signal(signal.SIGINT, stop)
    signal.signal(signal.SIGTERM, stop)
    processes = []
    try:
        start(program, processes)
        print(f"Borewright answers at http://127.0.0.1:{layout.ENTRY}; HAProxy shows what is up at "
              f"http://127.0.0.1:{layout.STATUS}; logs are in {state / 'logs'}.\nStop it with Ctrl-C.", flush=True)
        while True:
            for process in processes:
                process.look()
            time.sleep(0.2)
    except KeyboardInterrupt:
        print("Stopping.", flush=True)
    except (TimeoutError, subprocess.CalledProcessError) as why:
        print(why, getattr(why, "stderr", None) or "", file=sys.stderr, flush=True)
        return 1
    finally:
        # Web and workers first, the pool and the proxy, then the nodes with the leader last, then etcd.
        leading = [f"node{number}" for number in NODES if is_leader(number)]
        order = sorted(reversed(processes), key=lambda p: (p.name.startswith("etcd"), p.name in leading))
        for process in order:
            process.stop()
    return 0


if __name__ == "__main__":
    sys.exit(main())
