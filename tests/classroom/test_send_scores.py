"""The guide's program that sends scores, against a platform that is played here: a token, line items, a key."""

from __future__ import annotations

import http.server
import json
import os
import re
import subprocess
import sys
import threading
import urllib.parse
from pathlib import Path

import pytest

GUIDE = Path(__file__).parents[2] / "DEVELOPERS.md"


def program():
    """The program as the guide prints it."""
    blocks = re.findall(r"```python\n(.*?)```", GUIDE.read_text(encoding="utf-8"), re.S)
    (found,) = [each for each in blocks if "client_assertion" in each]
    return found


class Platform(http.server.BaseHTTPRequestHandler):
    """What a platform does here: it gives a token to who signs for it, and keeps each score that comes with it."""

    def do_POST(self):
        body = self.rfile.read(int(self.headers["Content-Length"])).decode()
        head = {name: self.headers[name] for name in ("Authorization", "Content-Type")}
        self.server.got.append((self.path, head, body))
        answer = json.dumps({"access_token": "t-1"} if self.path == "/token" else {}).encode()
        self.send_response(200)
        self.end_headers()
        self.wfile.write(answer)

    def log_message(self, *_):
        pass


@pytest.fixture
def platform():
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Platform)
    server.got = []
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield server
    server.shutdown()
    server.server_close()


STAND_IN = """
import json
def encode(claims, key, algorithm, headers):
    return json.dumps([claims, key, algorithm, headers])
"""
"""Signs nothing: PyJWT is the hub's, and not among what the tests need. The trial with it stands in the guide."""


def test_the_guide_s_program_sends_each_score_to_the_learner_s_line_item(platform, tmp_path):
    """*Published*: OAuth 2.0 JWT profile (RFC 7523) for the token; the rest as the guide says where it was read."""
    here = f"http://127.0.0.1:{platform.server_port}"
    (tmp_path / "jwt.py").write_text(STAND_IN)
    (tmp_path / "send.py").write_text(program(), encoding="utf-8")
    (tmp_path / "key.pem").write_text("the key")
    launches = tmp_path / "launches"
    launches.mkdir()
    (launches / "a-01.json").write_text(json.dumps({"sub": "user-9f3", "lineitem": f"{here}/items/7?type=1"}))
    (launches / "a%2F2.json").write_text(json.dumps({"sub": "user-2", "lineitem": f"{here}/items/7"}))
    scores = [{"userId": each, "scoreGiven": 0.0, "scoreMaximum": 20.0} for each in ("a-01", "a/2", "a-03")]
    (tmp_path / "scores.json").write_text(json.dumps(scores))
    given = ["scores.json", "launches", "key.pem", "client-1", f"{here}/token"]
    # The stand-in is found where Python looks, also where a lesson's server said that no folder of a program counts.
    environment = os.environ | {"PYTHONPATH": str(tmp_path)}
    done = subprocess.run(
        [sys.executable, "send.py", *given], cwd=tmp_path, env=environment, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == [
        "a-01: sent", "a/2: sent", "a-03: not sent, the platform gave no place for the grade",
    ]  # fmt: skip
    (_, _, asked), first, second = platform.got
    wanted = dict(urllib.parse.parse_qsl(asked))
    claims, key, algorithm, _ = json.loads(wanted["client_assertion"])
    assert (claims["iss"], claims["sub"], claims["aud"]) == ("client-1", "client-1", f"{here}/token")
    assert claims["exp"] > claims["iat"]
    assert (key, algorithm, wanted["grant_type"]) == ("the key", "RS256", "client_credentials")
    assert wanted["scope"] == "https://purl.imsglobal.org/spec/lti-ags/scope/score"
    assert (first[0], second[0]) == ("/items/7/scores?type=1", "/items/7/scores")
    assert first[1] == {"Authorization": "Bearer t-1", "Content-Type": "application/vnd.ims.lis.v1.score+json"}
    assert json.loads(first[2]) == {"userId": "user-9f3", "scoreGiven": 0.0, "scoreMaximum": 20.0}
