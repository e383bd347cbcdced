"""Moments of the store as a person reads them: in the zone of the browser."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import streamlit as st


def in_users_zone(moment: str) -> str:
    """An ISO 8601 moment to the minute, as `2026-11-25 18:35`, in the browser's zone (UTC where it tells none)."""
    parsed = datetime.fromisoformat(moment)
    known = parsed if parsed.tzinfo else parsed.replace(tzinfo=UTC)
    zone = st.context.timezone
    return known.astimezone(ZoneInfo(zone) if zone else UTC).strftime("%Y-%m-%d %H:%M")
