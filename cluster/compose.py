#!/usr/bin/env python3
"""Writes what docker-compose.cluster.yml mounts into cluster/compose: the configurations from the templates, with addresses of
containers, and passwords that are drawn once.

    python3 cluster/compose.py && docker compose --file docker-compose.cluster.yml up
"""

import secrets
import string

import layout

FOLDER = layout.HERE / "compose"
NODES = [1, 2, 3]
WORDS = ["superuser", "replication", "rewind", "owner", "service"]


def write(name, text, mode=0o644):
    """Containers run as users of their own, so that what they read is open to them; the folder is not open to others."""
    path = FOLDER / name
    path.write_text(text, encoding="utf-8")
    path.chmod(mode)


def passwords():
    """As they were drawn the first time."""
    kept = FOLDER / "passwords.env"
    if not kept.exists():
        letters = string.ascii_letters + string.digits
        lines = [f"{name.upper()}={''.join(secrets.choice(letters) for _ in range(32))}\n" for name in WORDS]
        write("passwords.env", "".join(lines), 0o600)
    lines = kept.read_text(encoding="utf-8").splitlines()
    return {name.lower(): word for name, word in (line.split("=", 1) for line in lines)}


def main():
    """Writes the files."""
    FOLDER.mkdir(exist_ok=True)
    FOLDER.chmod(0o755)
    words = passwords()
    for number in NODES:
        name = f"node{number}"
        write(f"{name}.yml", layout.template(
            "patroni.yml", name=name, bind="0.0.0.0", address=name, rest=8008, port=5432,
            etcd=",".join(f"etcd{n}:2379" for n in NODES), data="/var/lib/postgresql/data", bin="/usr/lib/postgresql/15/bin",
            state="/var/lib/postgresql", callers="samenet", superuser=words["superuser"],
            replication=words["replication"], rewind=words["rewind"]))
    write("haproxy.cfg", layout.template(
        "haproxy.cfg", bind="0.0.0.0", entry=8080, leader=5000, status=7000,
        **{f"web{n}": f"web{n}:8080" for n in (1, 2)}, **{f"node{n}": f"node{n}:5432" for n in NODES},
        **{f"patroni{n}": 8008 for n in NODES}))
    write("pgbouncer.ini", layout.template(
        "pgbouncer.ini", bind="0.0.0.0", host="haproxy", database=layout.DATABASE, leader=5000, pool=6432,
        state="/etc/borewright"))
    write("pgbouncer.users", f'"{layout.SERVICE}" "{words["service"]}"\n')
    write("roles.sql", layout.template(
        "roles.sql", owner=layout.OWNER, service=layout.SERVICE, database=layout.DATABASE,
        owner_password=words["owner"], service_password=words["service"]))
    at = "{}:{}@{}/" + layout.DATABASE
    direct = at.format(layout.SERVICE, words["service"], "haproxy:5000")
    pooled = at.format(layout.SERVICE, words["service"], "pgbouncer:6432")
    owner = at.format(layout.OWNER, words["owner"], "haproxy:5000")
    write("web.env", f"SERVICE_DATABASE_URL=postgres://{pooled}?statement-cache-capacity=0\n", 0o600)
    write("worker.env", f"SERVICE_DATABASE_URL=postgres://{direct}\n", 0o600)
    write("owner.env", f"DATABASE_URL=postgres://{owner}\n", 0o600)
    print(f"{FOLDER} is written; it holds passwords, keep it to yourself.")


if __name__ == "__main__":
    main()
