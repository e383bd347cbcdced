"""Who signed in, by Streamlit's signed cookie."""

import json

from starlette.requests import Request


def email_signed_in(request: Request) -> str | None:
    """The address of the person whose cookie a request bears; None without one that this server signed.

    The helper is private to Streamlit 1.67: this is the one place that uses it, and a test watches it.
    """
    from streamlit.web.server.starlette.starlette_auth_routes import _get_cookie_value_from_request
    from streamlit.web.server.starlette.starlette_server_config import USER_COOKIE_NAME

    value = _get_cookie_value_from_request(request, USER_COOKIE_NAME)
    if value is None:
        return None
    try:
        told = json.loads(value)
    except ValueError:
        return None
    email = told.get("email") if isinstance(told, dict) else None
    return email if isinstance(email, str) else None
