"""Sign-in by OpenID Connect, against a provider of this test's own on loopback."""

import http.server
import json
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

import pytest
from joserfc import jwt
from joserfc.jwk import RSAKey
from playwright.sync_api import Browser, expect

from app.store.people.verdicts import standing
from tests.pages.conftest import Served
from tests.pages.desk import judge, saved
from tests.pages.made_works import made_works

CLIENT = "brightbowl-test"


class Provider:
    """Signs in whoever asks, as the e-mail address set, after the code flow."""

    def __init__(self) -> None:
        self.key = RSAKey.generate_key(2048, {"kid": "1", "alg": "RS256", "use": "sig"})
        self.email = "hale@aldermoor.example"
        self.nonces: dict[str, str] = {}
        provider = self

        class Answers(http.server.BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                asked = urlsplit(self.path)
                query = {name: values[0] for name, values in parse_qs(asked.query).items()}
                if asked.path == "/authorize":
                    code = str(len(provider.nonces))
                    provider.nonces[code] = query["nonce"]
                    back = f"{query['redirect_uri']}?{urlencode({'code': code, 'state': query['state']})}"
                    self.send_response(302)
                    self.send_header("Location", back)
                    self.end_headers()
                elif asked.path == "/jwks":
                    self._say({"keys": [provider.key.as_dict(private=False)]})
                else:
                    self._say(provider.about())

            def do_POST(self) -> None:
                body = parse_qs(self.rfile.read(int(self.headers["Content-Length"])).decode())
                self._say(provider.tokens(body["code"][0]))

            def _say(self, content: dict[str, Any]) -> None:
                self.send_response(200)
                self.send_header("Content-Type", "application/json")
                self.end_headers()
                self.wfile.write(json.dumps(content).encode())

            def log_message(self, *_: object) -> None:
                """Say nothing."""

        self.server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Answers)
        self.url = f"http://127.0.0.1:{self.server.server_address[1]}"

    def about(self) -> dict[str, Any]:
        """The provider's description of itself."""
        return {
            "issuer": self.url,
            "authorization_endpoint": f"{self.url}/authorize",
            "token_endpoint": f"{self.url}/token",
            "jwks_uri": f"{self.url}/jwks",
            "response_types_supported": ["code"],
            "subject_types_supported": ["public"],
            "id_token_signing_alg_values_supported": ["RS256"],
        }

    def tokens(self, code: str) -> dict[str, Any]:
        """What a code is exchanged for."""
        now = int(time.time())
        claims = {
            "iss": self.url,
            "sub": self.email,
            "aud": CLIENT,
            "iat": now,
            "exp": now + 600,
            "nonce": self.nonces.pop(code),
            "email": self.email,
        }
        signed = jwt.encode({"alg": "RS256", "kid": "1"}, claims, self.key)
        return {"access_token": "x", "token_type": "Bearer", "expires_in": 600, "id_token": signed}


@pytest.fixture
def provider() -> Iterator[Provider]:
    """A running provider."""
    one = Provider()
    thread = threading.Thread(target=one.server.serve_forever)
    thread.start()
    yield one
    one.server.shutdown()
    thread.join()
    one.server.server_close()


@pytest.fixture
def locked(tmp_path: Path, provider: Provider) -> Iterator[Served]:
    """A works whose people sign in."""
    one = Served(made_works(tmp_path / "works", trays=2, drawn=1), tmp_path / "serve.log")
    (one.works.folder / "login.toml").write_text(
        f"""[auth]
redirect_uri = "{one.url}/oauth2callback"
cookie_secret = "a secret of this test"
client_id = "{CLIENT}"
client_secret = "another"
server_metadata_url = "{provider.url}/.well-known/openid-configuration"
"""
    )
    one.start()
    yield one
    one.stop()


def test_people_sign_in_and_judge_as_themselves(locked: Served, provider: Provider, browser: Browser) -> None:
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    page = context.new_page()
    page.goto(f"{locked.url}/?who=R.+Hale")  # a name in the address is nobody here
    expect(page.get_by_text("Sign in above to begin")).to_be_visible()
    assert page.locator(".desk").count() == 0
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("button", name="R. Hale · sign out")).to_be_visible()
    piece = judge(page, "a")
    saved(page)
    store = locked.works.open()
    (verdict,) = standing(store)
    store.close()
    assert (f"{verdict.tray}:{verdict.piece}", verdict.inspector, verdict.identity) == (piece, "R. Hale", "login")
    frame = page.locator(".frame img").get_attribute("src")
    assert page.request.get(f"{locked.url}{frame}").status == 200
    page.get_by_role("button", name="sign out").click()
    expect(page.get_by_role("button", name="Sign in")).to_be_visible()
    # The page changes a moment before the browser has followed the way out that takes the cookie.
    page.wait_for_function("url => fetch(url).then(answer => answer.status === 401)", arg=frame)
    assert page.request.get(f"{locked.url}{frame}").status == 401
    provider.email = "stranger@elsewhere.example"
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_text("stranger@elsewhere.example is not on the works' list")).to_be_visible()
    context.close()
