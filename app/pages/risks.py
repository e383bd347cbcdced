"""Part of the page of tuning: what a wider guard band buys on a lot, of all limits together and of each."""

import streamlit as st

from app.pages.study_lot import KEPT_S, StudyLot, lot_key, show_chart
from app.report import risk_chart, risk_words
from app.studies import LimitRisk, study_risk
from vision.records import Limits


@st.cache_resource(
    ttl=KEPT_S, max_entries=8, show_spinner="Reckoning the risks …", hash_funcs={StudyLot: lot_key, Limits: repr}
)
def _studied(lot: StudyLot, base: Limits) -> tuple[LimitRisk, ...]:
    return study_risk(lot.columns, base)


def show_risks(lot: StudyLot, base: Limits) -> None:
    """Show the risks over the guard band's width; reckoned only when it is asked for."""
    st.markdown("**Decision risk: what a wider guard band buys**")
    if not st.toggle("Reckon it from this lot's own distribution", key=f"risk_{base.revision}"):
        return
    found = _studied(lot, base)
    if not found:
        st.markdown("No limit of this revision bounds anything that three pieces of this lot have.")
        return
    names = [one.name for one in found]
    chosen = found[names.index(st.selectbox("Of", names, key=f"risk_of_{base.revision}"))]
    show_chart(risk_chart(chosen), f"Risks over the width of the guard band: {chosen.name}")
    st.markdown(f"At the width in force, {risk_words(chosen)}.")
