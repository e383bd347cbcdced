"""Parts of the page of tuning: what a wider guard band buys on a lot, and how capable its process is of each limit."""

import streamlit as st

from app.pages.study_lot import KEPT_S, StudyLot, lot_key, show_chart
from app.report import figure_words, risk_chart, risk_words
from app.studies import LimitCapability, LimitRisk, study_capability, study_risk
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
    rows = study_capability(lot.columns, base)
    if rows:
        st.markdown("**Capability**: Cp, Cpk by the spread within trays, Pp, Ppk by the overall one, 95 % intervals")
        st.dataframe([_row(one) for one in rows], hide_index=True)


def _row(one: LimitCapability) -> dict[str, str]:
    found = one.found
    alike = "" if found.likeness is None else f", one like the next by {found.likeness:.2f}"
    return {
        "limit": one.name,
        "pieces": str(one.pieces),
        "Cp": figure_words(found.cp),
        "Cpk": figure_words(found.cpk),
        "Pp": figure_words(found.pp),
        "Ppk": figure_words(found.ppk),
        "trays": f"{'alike' if found.steady else 'differ: Cp, Cpk speak of a tray alone'}{alike}",
    }
