"""A small OpenID provider on loopback: who signs in is who the test says, with the claims that the test says.

OpenID Connect Core 1.0 (3.1, authorization code flow), Discovery 1.0 (4), PKCE (RFC 7636, S256), JWS (RFC 7515).
"""

from __future__ import annotations

import base64
import hashlib
import json
import secrets
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import padding, rsa

CLIENT_ID = "sledkeeper-pages"


@dataclass
class Provider:
    """Where it is, and who signs in."""

    origin: str
    secret: str = field(default_factory=lambda: secrets.token_urlsafe(24), repr=False)
    claims: dict[str, Any] = field(default_factory=dict)
    """Of whoever signs in next."""
    key: rsa.RSAPrivateKey = field(default_factory=lambda: rsa.generate_private_key(65537, 2048), repr=False)
    codes: dict[str, dict[str, str]] = field(default_factory=dict)
    problems: list[str] = field(default_factory=list)
    """What a client did that the standards don't allow."""

    def metadata(self) -> dict[str, Any]:
        return {
            "issuer": self.origin,
            "authorization_endpoint": f"{self.origin}/authorize",
            "token_endpoint": f"{self.origin}/token",
            "jwks_uri": f"{self.origin}/keys",
            "response_types_supported": ["code"],
            "subject_types_supported": ["public"],
            "id_token_signing_alg_values_supported": ["RS256"],
            "code_challenge_methods_supported": ["S256"],
        }

    def keys(self) -> dict[str, Any]:
        numbers = self.key.public_key().public_numbers()
        parts = {"n": _number(numbers.n), "e": _number(numbers.e)}
        return {"keys": [{"kty": "RSA", "use": "sig", "alg": "RS256", "kid": "one", **parts}]}

    def token(self, told: dict[str, str], basic: str) -> dict[str, Any] | None:
        """The tokens for a code; None where it, or the client, is not right."""
        asked = self.codes.pop(told.get("code", ""), None)
        client = (told.get("client_id", ""), told.get("client_secret", ""))
        if basic:
            name, _, password = base64.b64decode(basic.removeprefix("Basic ")).decode().partition(":")
            client = (name, password)
        if asked is None or client != (CLIENT_ID, self.secret):
            self.problems.append("a code or a client that is not right")
            return None
        digest = hashlib.sha256(told.get("code_verifier", "").encode()).digest()
        if asked["code_challenge"] != _b64(digest) or told.get("redirect_uri") != asked["redirect_uri"]:
            self.problems.append("PKCE or the way back is not right")
            return None
        now = int(time.time())
        claims = {
            "iss": self.origin,
            "aud": CLIENT_ID,
            "iat": now,
            "exp": now + 600,
            "nonce": asked["nonce"],
            **self.claims,
        }
        signed = f"{_b64(_json({'alg': 'RS256', 'kid': 'one', 'typ': 'JWT'}))}.{_b64(_json(claims))}"
        signature = self.key.sign(signed.encode(), padding.PKCS1v15(), hashes.SHA256())
        return {
            "access_token": secrets.token_urlsafe(16),
            "token_type": "Bearer",
            "expires_in": 600,
            "id_token": f"{signed}.{_b64(signature)}",
        }


@contextmanager
def provider() -> Iterator[Provider]:
    """A running provider."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), _Handler)
    found = _Handler.provider = Provider(f"http://127.0.0.1:{server.server_port}")
    thread = threading.Thread(target=server.serve_forever, name="provider")
    thread.start()
    try:
        yield found
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


class _Handler(BaseHTTPRequestHandler):
    provider: Provider

    def do_GET(self) -> None:
        url = urlsplit(self.path)
        told = {key: values[0] for key, values in parse_qs(url.query).items()}
        match url.path:
            case "/.well-known/openid-configuration":
                self._tell(self.provider.metadata())
            case "/keys":
                self._tell(self.provider.keys())
            case "/authorize":
                self._authorize(told)
            case _:
                self.send_error(404)

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers.get("Content-Length", "0"))).decode()
        told = {key: values[0] for key, values in parse_qs(body).items()}
        tokens = self.provider.token(told, self.headers.get("Authorization", ""))
        self._tell(tokens if tokens is not None else {"error": "invalid_grant"}, 200 if tokens is not None else 400)

    def _authorize(self, told: dict[str, str]) -> None:
        lacking = {"state", "nonce", "code_challenge", "redirect_uri", "scope"} - told.keys()
        if lacking or told.get("client_id") != CLIENT_ID or "openid" not in told["scope"].split():
            self.provider.problems.append(f"authorize without {sorted(lacking)}")
            self.send_error(400)
            return
        code = secrets.token_urlsafe(16)
        self.provider.codes[code] = told
        self.send_response(302)
        self.send_header("Location", f"{told['redirect_uri']}?{urlencode({'code': code, 'state': told['state']})}")
        self.end_headers()

    def _tell(self, body: dict[str, Any], status: int = 200) -> None:
        text = _json(body)
        self.send_response(status)
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(len(text)))
        self.end_headers()
        self.wfile.write(text)

    def log_message(self, format: str, *args: Any) -> None:
        """Nothing on the terminal."""


def _json(value: Any) -> bytes:
    return json.dumps(value).encode()


def _b64(value: bytes) -> str:
    return base64.urlsafe_b64encode(value).rstrip(b"=").decode()


def _number(value: int) -> str:
    return _b64(value.to_bytes((value.bit_length() + 7) // 8, "big"))
