"""Holds the API of a running demo shop against its own description, with every check that schemathesis has.

    python3 tests/api/check.py http://127.0.0.1:8080 [REQUESTS]

Makes a token as the demo's owner, asks for the OpenAPI document and sends REQUESTS requests (50 when left out) to each operation:
what the document allows, what it does not, and one after another as links lead. Schemathesis comes from the Python package index
and is kept in target/api-check.
"""

import html
import http.cookiejar
import pathlib
import re
import subprocess
import sys
import urllib.parse
import urllib.request
import venv

HERE = pathlib.Path(__file__).resolve().parent
TARGET = HERE.parent.parent / "target" / "api-check"
SCHEMATHESIS = "schemathesis==4.32.5"


def token(address):
    """A token that may read and change as the owner, for thirty days."""
    jar = urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar())
    opener = urllib.request.build_opener(jar)

    def post(path, fields):
        data = urllib.parse.urlencode(fields).encode()
        request = urllib.request.Request(address + path, data, {"Origin": address})
        return opener.open(request).read().decode()

    opener.open(address + "/sign-in").read()
    post("/sign-in", {"sign_in": "edda", "password": "harrow-quay-demo"})
    page = opener.open(address + "/shop/tokens").read().decode()
    form = page[page.index('action="/shop/tokens"'):]
    csrf = re.search(r'name="csrf" value="([^"]+)"', form).group(1)
    fields = {"csrf": csrf, "note": "API check", "role": "owner", "scope": "write", "days": "30"}
    made = post("/shop/tokens", fields)
    made = made[made.index("Token created"):]
    return html.unescape(re.search(r'value="([^"]{20,})"', made).group(1))


def main():
    address = sys.argv[1].rstrip("/")
    requests = sys.argv[2] if len(sys.argv) > 2 else "50"
    program = TARGET / "bin" / "schemathesis"
    if not program.exists():
        venv.create(TARGET, with_pip=True)
        subprocess.run([TARGET / "bin" / "pip", "install", "--quiet", SCHEMATHESIS], check=True)
    bearer = f"Authorization: Bearer {token(address)}"
    document = f"{address}/api/v1/openapi.json"
    asked = [program, "--config-file", HERE / "schemathesis.toml", "run", document, "-H", bearer]
    asked += ["--checks", "all", "--max-examples", requests, "--workers", "1", "--seed", "1"]
    return subprocess.run(asked, cwd=TARGET).returncode


if __name__ == "__main__":
    sys.exit(main())
