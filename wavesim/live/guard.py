"""Who may come in: hosts, origins, keys; and what a page may load."""

from __future__ import annotations

import hmac
import secrets
from dataclasses import dataclass, field

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

OWNER, FOLLOWER, NOBODY = "owner", "follower", "nobody"
HEADERS = {
    "content-security-policy": (
        "default-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; "
        "object-src 'none'"
    ),
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-cache",
}


@dataclass(frozen=True)
class Access:
    """Names under which the bench may be called, and keys if it is shared.

    Attributes
    ----------
    authorities : "127.0.0.1:8642" and the like; the Host of every request is one of them
    owner_key, class_key : empty where nobody but this machine comes in
    """

    authorities: frozenset[str]
    owner_key: str = ""
    class_key: str = ""

    def host_allowed(self, host: str) -> bool:
        """Whether a request's Host is a name that was printed."""
        return host.lower() in self.authorities

    def origin_allowed(self, origin: str) -> bool:
        """Whether a websocket's Origin is a page of ours; browsers always send one."""
        scheme, _, authority = origin.partition("://")
        return scheme == "http" and authority.lower() in self.authorities

    def role(self, key: object) -> str:
        """What the bearer of a key may do."""
        if not self.owner_key:
            return OWNER
        given = key if isinstance(key, str) else ""
        if hmac.compare_digest(given.encode(), self.owner_key.encode()):
            return OWNER
        return FOLLOWER if hmac.compare_digest(given.encode(), self.class_key.encode()) else NOBODY


def access(addresses: list[str], port: int, *, shared: bool) -> Access:
    """The access to a bench that answers at those addresses."""
    names = [*addresses, "localhost", "127.0.0.1", "[::1]"]
    authorities = {f"{name.lower()}:{port}" for name in names}
    if port == 80:
        authorities |= {name.lower() for name in names}
    keys = (secrets.token_urlsafe(18), secrets.token_urlsafe(9)) if shared else ("", "")
    return Access(frozenset(authorities), *keys)


@dataclass
class Guard:
    """ASGI middleware: refuses foreign hosts and origins, and sets the headers of every answer."""

    app: ASGIApp
    access: Access
    headers: dict[str, str] = field(default_factory=lambda: HEADERS)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or refuse it."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        given = Headers(scope=scope)
        allowed = self.access.host_allowed(given.get("host", ""))
        if scope["type"] == "websocket":
            if not (allowed and self.access.origin_allowed(given.get("origin", ""))):
                await send({"type": "websocket.close", "code": 1008})  # before accept: HTTP 403
                return
            await self.app(scope, receive, send)
            return
        if not allowed:
            body = "This host name is not accepted; use the address that was printed.\n"
            await PlainTextResponse(body, status_code=421)(scope, receive, send)
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message).update(self.headers)
            await send(message)

        await self.app(scope, receive, with_headers)
