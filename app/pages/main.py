"""The pages and their addresses: a page is one line here and one file beside this one."""

import streamlit as st

from app.pages.agreement import agreement_study_page
from app.pages.blind_page import blind_page
from app.pages.dies import dies_page
from app.pages.first_steps_page import first_steps_page
from app.pages.gauge import gauge_study_page
from app.pages.lots import lots_page
from app.pages.new_part import new_part_page
from app.pages.review import review_page
from app.pages.station import station_page
from app.pages.tuning import tuning_study_page
from app.pages.waiting_list import waiting_page
from vision.errors import Unusable

st.set_page_config(page_title="brightbowl", layout="wide", initial_sidebar_state="collapsed")
st.html(
    """<style>
    /* What the choice and the name take of the line: as much as the pages' names leave; chips take more of these. */
    :root { --head: 40px; --chips: 0px; --choice: clamp(440px + var(--chips), 100vw - 810px, 640px + var(--chips)); }
    :root:has([class*="st-key-off_"]) { --chips: 130px; }
    :root:has([class*="st-key-off_"] ~ [class*="st-key-off_"]) { --chips: 250px; }
    :root:has([class*="st-key-off_"] ~ [class*="st-key-off_"] ~ [class*="st-key-off_"]) { --chips: 390px; }
    @media (pointer: coarse) { :root { --head: 48px; } }
    header[data-testid="stHeader"] { height: var(--head); min-height: var(--head); }
    header[data-testid="stHeader"] [data-testid="stToolbar"] { padding: 0 8px; height: var(--head); min-height: 0; }
    header[data-testid="stHeader"] [data-testid="stTopNavLink"] { padding: 2px 4px; }
    .stMainBlockContainer { padding: calc(var(--head) + 2px) 0.5rem 0; }
    .stMainBlockContainer [data-testid="stElementContainer"]:has(style) { position: absolute; }
    .stMainBlockContainer .stVerticalBlock { gap: 0.3rem; }
    div:has(> .st-key-head) { position: absolute; }
    .st-key-head { position: fixed; top: 3px; right: 44px; width: min(var(--choice), 100vw - 200px); z-index: 999991; }
    .st-key-head [data-testid="stHorizontalBlock"] { flex-wrap: nowrap; gap: 6px; }
    .st-key-head [data-testid="stColumn"] { min-width: 0; }
    .st-key-head > * > * > [data-testid="stColumn"] { flex: 1 1 0; }
    .st-key-head > * > * > [data-testid="stColumn"]:last-child { flex: 0 0 160px; }
    .st-key-head [class*="st-key-off_"] { flex: 0 1 auto; min-width: 0; }
    .st-key-head [class*="st-key-off_"] p { overflow: hidden; text-overflow: ellipsis; white-space: nowrap; }
    .st-key-head [data-testid="stColumn"] > [data-testid="stVerticalBlock"] { flex-direction: row; flex-wrap: nowrap; }
    .st-key-head [data-testid="stColumn"] > [data-testid="stVerticalBlock"] > * { flex: 1 1 0; min-width: 0; }
    header[data-testid="stHeader"] .rc-overflow { max-width: max(140px, 100vw - var(--choice) - 60px); }
    .st-key-head [role="group"], .st-key-head button, .st-key-head input {
        min-height: 0; height: calc(var(--head) - 6px); }
    .st-key-head [role="group"] > * { height: 100%; }
    @media (prefers-color-scheme: dark) { [data-testid^="stBaseButton-primary"] p { color: #0d1114; } }
    [data-testid="stStatusWidget"] { display: none; }
    /* That the server is lost the bench says in a line of its own: no dialog over the picture. */
    body:has(.st-key-viewer) [data-testid="stDialog"] { display: none; }
    </style>"""
)
PAGES = (
    st.Page(review_page, title="Review", default=True),
    st.Page(waiting_page, title="Queue", url_path="queue"),
    st.Page(blind_page, title="Blind rounds", url_path="blind"),
    st.Page(lots_page, title="Lots", url_path="lots"),
    st.Page(dies_page, title="Dies", url_path="dies"),
    st.Page(agreement_study_page, title="Agreement", url_path="agreement"),
    st.Page(tuning_study_page, title="Tuning", url_path="tuning"),
    st.Page(gauge_study_page, title="Gauge", url_path="gauge"),
    st.Page(station_page, title="Station", url_path="station"),
    st.Page(first_steps_page, title="First steps", url_path="first-steps"),
    st.Page(new_part_page, title="New part", url_path="new-part"),
)
page = st.navigation(list(PAGES), position="top")
try:
    page.run()
except Unusable as fault:
    st.error(str(fault))
