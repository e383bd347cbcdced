"""Parts of the page of tuning: what a wider guard band buys on a lot, and how capable its process is of each limit."""

import streamlit as st

from app.pages.study_lot import KEPT_S, StudyLot, lot_key, show_chart
from app.report import capability_row, risk_chart, risk_words
from app.studies import LotRisks, study_lot_risks
from vision.records import Limits


@st.cache_resource(
    ttl=KEPT_S, max_entries=8, show_spinner="Reckoning the risks …", hash_funcs={StudyLot: lot_key, Limits: repr}
)
def lot_risks(lot: StudyLot, base: Limits) -> LotRisks:
    """Risks and capability of a lot, kept for a while."""
    return study_lot_risks(lot.columns, base)


def show_risks(lot: StudyLot, base: Limits) -> None:
    """Show the risks over the guard band's width; reckoned only when it is asked for."""
    st.markdown("**Decision risk: what a wider guard band buys**")
    if not st.toggle("Reckon it from this lot's own distribution", key=f"risk_{base.revision}"):
        return
    found = lot_risks(lot, base)
    if not found.risks:
        st.markdown("No limit of this revision bounds anything that three pieces of this lot have.")
        return
    names = [one.name for one in found.risks]
    chosen = found.risks[names.index(st.selectbox("Of", names, key=f"risk_of_{base.revision}"))]
    show_chart(risk_chart(chosen), f"Risks over the width of the guard band: {chosen.name}")
    st.markdown(f"At the width in force, {risk_words(chosen)}.")
    if found.capability:
        st.markdown(
            "**Capability**: Cp, Cpk by the spread within trays, Pp, Ppk by the overall one, 95 % intervals; below "
            "twelve trays no Pp and Ppk, and no interval where values are not normal or too few to see it"
        )
        st.dataframe([capability_row(one) for one in found.capability], hide_index=True)
