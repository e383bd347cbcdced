"""The page's server: Streamlit's own application with the desk's routes beside it, closed to other hosts."""

from pathlib import Path
from typing import Any

from app.pages.own_origin import OwnOrigin
from app.pages.routes import routes
from app.pages.server_state import ServerState, set_server
from app.report import ACCENT, INK, PAPER, WASH

LOCAL_HOSTS = ("127.0.0.1", "localhost", "[::1]")
DARK = {"base": "dark", "backgroundColor": "#0d1114", "secondaryBackgroundColor": "#171d22", "textColor": "#e6ebef"}
LIGHT = {"base": "light", "backgroundColor": PAPER, "secondaryBackgroundColor": WASH, "textColor": INK}
ACCENT_ON_DARK = "#ff9d66"  # 9 to 1 against the dark ground (WCAG 2 asks 4.5 for text)


def serve(server: ServerState, port: int, address: str = "127.0.0.1", login_file: Path | None = None) -> None:
    """Serve the pages until stopped.

    Parameters
    ----------
    server
        What the pages serve: store, works, secret.
    port
        On which to listen.
    address
        Where to listen; anything but this machine's own address wants TLS and sign-in in front.
    login_file
        TOML with a table `[auth]` for OpenID Connect, as Streamlit has it.
    """
    import streamlit as st
    from starlette.middleware import Middleware
    from starlette.middleware.trustedhost import TrustedHostMiddleware

    set_server(server)
    server.dies.prepare(server.store)
    hosts = [*LOCAL_HOSTS] if address in LOCAL_HOSTS else [*LOCAL_HOSTS, address]
    application = st.App(
        Path(__file__).with_name("main.py"),
        routes=routes(server),
        middleware=[
            Middleware(TrustedHostMiddleware, allowed_hosts=[*hosts, f"{address}"]),
            Middleware(OwnOrigin),
        ],
    )
    application.run(config=_settings(port, address, hosts, login_file))


def _settings(port: int, address: str, hosts: list[str], login_file: Path | None) -> dict[str, Any]:
    settings: dict[str, Any] = {
        "server.port": port,
        "server.address": address,
        "server.headless": True,
        "server.fileWatcherType": "none",
        "server.allowedHosts": hosts,
        "server.enableAgentApi": False,
        "browser.gatherUsageStats": False,
        "runner.magicEnabled": False,
        "client.toolbarMode": "viewer",
        "client.showErrorDetails": "none",
        "logger.hideWelcomeMessage": True,
        "theme.primaryColor": ACCENT,
        "theme.baseFontSize": 17,
        "theme.light.primaryColor": ACCENT,
        "theme.dark.primaryColor": ACCENT_ON_DARK,
    }
    settings |= {f"theme.light.{name}": value for name, value in LIGHT.items() if name != "base"}
    settings |= {f"theme.dark.{name}": value for name, value in DARK.items() if name != "base"}
    if login_file is not None:
        settings["secrets.files"] = [str(login_file)]
    return settings
