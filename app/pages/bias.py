"""A measuring system against reference pieces, from a table: part of the page of gauge studies."""

import streamlit as st

from app.pages.server_state import ServerState
from app.pages.study_lot import show_chart, stamped_page, take_away, uploaded
from app.report import bias_page, digits, range_chart, time_chart
from app.studies import (
    BiasStudy,
    MeasuringSystem,
    bias_table,
    json_text,
    measuring_system,
    read_gauge_table,
    read_readings,
    study_bias,
    study_gauge,
)


def bias_study(server: ServerState) -> None:
    """Study a table of readings that is chosen."""
    given = st.file_uploader("Table with the columns piece,reference,reference_u,taken_at,value", type="csv")
    if given is None:
        st.info(
            "Measure pieces of known size again and again: three or more over the range for linearity, in eight "
            "sittings or more on different days for stability. `reference_u` is the standard uncertainty of the "
            "reference value (may be empty); readings of one sitting have the same `taken_at`."
        )
        return
    with uploaded(given) as path:
        study = study_bias(read_readings(path))
    tolerance = st.number_input("Width of the tolerance (0: none)", 0.0, value=0.0, format="%.4f", width=320) or None
    held = None if tolerance is None else _against(study, tolerance)
    _show(study, held)

    def page() -> str:
        return bias_page(study, held, given.name)

    take_away("bias", stamped_page(server, page), lambda: json_text(bias_table(study, held)))


def _against(study: BiasStudy, tolerance: float) -> MeasuringSystem:
    """The gauge against a tolerance, with what else is known of it."""
    left, right = st.columns(2)
    resolution = left.number_input("Smallest step of a reading (0: not known)", 0.0, value=0.0, format="%.4f") or None
    crossed = right.file_uploader("Crossed study of operators or stations: part,operator,trial,value", type="csv")
    gauge = None
    if crossed is not None:
        with uploaded(crossed) as path:
            gauge = study_gauge(read_gauge_table(path), tolerance)
    return measuring_system(study, tolerance, resolution, gauge)


def _show(study: BiasStudy, held: MeasuringSystem | None) -> None:
    st.markdown(f"**{study.words}**")
    rows = []
    for one in study.pieces:
        assert one.bias.value is not None
        assert one.bias.ci is not None
        rows.append(
            {
                "piece": one.name,
                "reference value": digits(one.reference, 6),
                "its standard uncertainty": digits(one.reference_u, 3),
                "readings": one.readings,
                "bias": digits(one.bias.value, 3),
                "95 % interval": f"{digits(one.bias.ci[0], 3)} to {digits(one.bias.ci[1], 3)}",
                "told": "biased" if one.significant else "not shown",
            }
        )
    st.dataframe(rows, hide_index=True)
    left, right = st.columns(2)
    with left:
        show_chart(range_chart(study), "Bias over the reference values, with intervals and line")
    with right:
        if study.stability is not None:
            show_chart(time_chart(study.stability), "Means of the sittings over the days")
    st.markdown(
        "Intervals rest on the scatter of each piece's sittings, as far as these differ and are alike, and on the "
        "reference values' own uncertainty; pieces are told to be biased at 95 % for all of them together."
    )
    for name, fit in (("Measuring system", held.system), ("Measuring process", held.process)) if held else ():
        if fit is not None:
            low, high = fit.ci
            st.markdown(
                f"**{name}: {fit.outcome}**, {fit.percent:.1f} % ({low:.1f} to {high:.1f}) of the tolerance, at most "
                f"{fit.at_most:g} % asked"
            )
    if held is not None and held.process is None:
        st.markdown("The measuring process is not told: it takes a crossed study of operators or stations.")
