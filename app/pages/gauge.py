"""A gauge study from a table, or from trays that the store saw more than once; and bias against reference pieces."""

import streamlit as st

from app.pages.bias import bias_study
from app.pages.server_state import ServerState, current_server
from app.pages.sign_in import head, nobody_yet
from app.pages.study_lot import show_chart, stamped_page, take_away, uploaded
from app.report import NAMES, components_chart, digits, gauge_page, interaction_chart, measure_words, part_chart
from app.store import repeated_measures, repeated_trays, repeats
from app.studies import GaugeStudy, GaugeTable, balanced, gauge_table, json_text, read_gauge_table, study_gauge

REFERENCES = "against reference pieces"
TABLE_MAX_MB = 10  # some 300,000 values


def gauge_study_page() -> None:
    """Study a gauge."""
    server = current_server()
    left, who = head(server)
    with left:
        sources = ["from a table", "from the store", REFERENCES]
        source = st.selectbox("Measurements", sources, key="gauge_source", label_visibility="collapsed")
    if who is None:
        nobody_yet(server)
        return
    if source == REFERENCES:
        bias_study(server)
        return
    chosen = _from_store(server) if source == "from the store" else _from_file()
    if chosen is None:
        return
    table, name = chosen
    tolerance = st.number_input("Width of the tolerance (0: none)", 0.0, value=0.0, format="%.4f", width=320) or None
    study = study_gauge(table, tolerance)
    _show(table, study)

    def page() -> str:
        return gauge_page(table, study, tolerance, name)

    take_away(
        "gauge",
        stamped_page(server, page),
        lambda: json_text(gauge_table(table, study, tolerance)),
    )


def _from_file() -> tuple[GaugeTable, str] | None:
    given = st.file_uploader(
        "Table with the columns part,operator,trial,value", type="csv", max_upload_size=TABLE_MAX_MB
    )
    if given is None:
        st.info("Every operator (or station) measures every part in every trial; two parts and two trials at least.")
        return None
    with uploaded(given) as path:
        return read_gauge_table(path), given.name


def _from_store(server: ServerState) -> tuple[GaugeTable, str] | None:
    trays = repeated_trays(server.store)
    if not trays:
        st.info(
            "No tray was photographed more than once. Photograph the same tray again and again under its own name, its "
            "pieces in the same order; turned or laid anew for reproducibility, on each station that is to be compared."
        )
        return None
    left, right = st.columns(2)
    chosen = left.multiselect("Trays photographed more than once", trays, default=list(trays))
    measures = repeated_measures(server.store, tuple(chosen))
    picked = right.selectbox("Measure", measures, format_func=_title)
    if picked is None:
        return None
    measure, zone = picked
    values = repeats(server.store, tuple(chosen), measure, zone)
    return balanced(", ".join(chosen), values), f"{_title(picked)} of {', '.join(chosen)}"


def _title(measure: tuple[str, str | None]) -> str:
    name, zone = measure
    return f"{measure_words(name).title}, {zone}" if zone else measure_words(name).title


def _show(table: GaugeTable, study: GaugeStudy) -> None:
    share = study.study_percent
    if share is None:
        st.warning("All values are equal: the study shows no spread. Choose parts that differ, or more decimals.")
        return
    one, two, three = st.columns(3)
    one.metric("Gauge, % of the study's spread", digits(share["gauge"], 3))
    tolerance = study.tolerance_percent
    two.metric("Gauge, % of the tolerance", "–" if tolerance is None else digits(tolerance["gauge"], 3))
    three.metric("Distinct categories", "–" if study.distinct_categories is None else study.distinct_categories)
    rows = [
        {
            "source": words,
            "variance": digits(study.variance[name]),
            "as estimated": digits(found.value),
            "95 % interval": f"{digits(found.ci[0])} to {digits(found.ci[1])}",
            "% of study": digits(share[name]),
        }
        for name, words in NAMES.items()
        if (found := study.components[name]) is not None
    ]
    st.dataframe(rows, hide_index=True)
    left, right = st.columns(2)
    with left:
        show_chart(part_chart(table), "Every value by part")
    with right:
        if len(table.operators) > 1:
            show_chart(interaction_chart(table), "Operators' means by part")
        else:
            show_chart(components_chart(study), "Standard deviations by source")
