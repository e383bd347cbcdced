"""Camera against people: the study of a lot, the pieces in dispute, and the report to keep."""

import streamlit as st

from app.pages.server_state import ServerState
from app.pages.study_lot import StudyLot, report_folders, show_chart, show_pieces, stamped_page, study_head, take_away
from app.report import ReportFolders, agreement_page, camera_rates_chart, coefficient, share
from app.studies import AgreementStudy, Dispute, Pair, Thresholds, agree, agreement_table, json_text

PERCENT = 100.0


def agreement_study_page() -> None:
    """Show how far camera and people agree on a lot."""
    head = study_head()
    if head is None:
        return
    server, who, lot = head.server, head.who, head.lot
    if not any(sample.verdicts for sample in head.samples):
        st.info("Nobody has judged a piece of this lot blind so far. Begin a blind round.")
        return
    study = agree(lot.lot, head.samples, _thresholds())
    show_agreement(study)
    st.markdown("**Pieces in dispute** (a click opens the piece)")
    words = [(one.key, _dispute_words(one)) for one in study.disputes]
    if words:
        show_pieces(server, words, who)
    else:
        st.success("None: camera and people agree on every piece.")
    _take_away(server, study, lot, report_folders(server))


def show_agreement(study: AgreementStudy) -> None:
    """How the pieces came to be judged and by whom, and how far camera and people agree."""
    for sample in study.samples:
        st.markdown(f"{sample.words} {sample.held}")
    _verdict(study)
    _tables(study)


def _dispute_words(one: Dispute) -> str:
    people = "; ".join(f"{name} {said}" for name, (said, _) in one.said.items())
    return f"{one.why}: camera {one.camera}; {people}"


def _thresholds() -> Thresholds:
    usual = Thresholds()
    with st.popover("What a fit camera must keep"):
        missed = st.number_input("Missed, at most %", 0.0, 100.0, PERCENT * usual.max_missed, 0.5)
        alarms = st.number_input("False alarms, at most %", 0.0, 100.0, PERCENT * usual.max_false_alarm, 0.5)
        kappa = st.number_input("Kappa, at least", -1.0, 1.0, usual.min_kappa, 0.05)
    return Thresholds(missed / PERCENT, alarms / PERCENT, kappa)


def _verdict(study: AgreementStudy) -> None:
    judged = study.fitness
    if judged is None:
        return
    show = {"fit": st.success, "not fit": st.error, "not shown": st.warning}[judged.outcome]
    show(judged.words + "\n\n" + "\n".join(f"- **{one.outcome}**: {one.words}" for one in judged.findings))


def _tables(study: AgreementStudy) -> None:
    agreement = study.agreement
    left, right = st.columns([0.72, 0.28])
    with left:
        st.markdown(f"**Camera against each person**, {agreement.pieces} pieces")
        st.dataframe([_row(name, pair) for name, pair in agreement.camera_vs.items()], hide_index=True)
        if agreement.between:
            st.markdown(
                f"**People against each other**; Fleiss' kappa of all {coefficient(agreement.fleiss_kappa)}, "
                f"AC1 {coefficient(agreement.gwet_ac1)}"
            )
            rows = [_row(f"{a} and {b}", pair) for (a, b), pair in agreement.between.items()]
            rows += [_row(f"{name}, again", pair) for name, pair in agreement.within.items()]
            st.dataframe(rows, hide_index=True)
    with right:
        show_chart(camera_rates_chart(agreement), "Missed pieces and false alarms against each person, with intervals")
    if agreement.by_kind:
        st.markdown("**By kind of defect** that people name")
        st.dataframe(
            [
                {
                    "": kind,
                    "rejected for it": one.pieces,
                    "missed by the camera": share(one.missed),
                    "people's kappa on naming it": coefficient(one.fleiss_kappa),
                }
                for kind, one in agreement.by_kind.items()
            ],
            hide_index=True,
        )
    if study.by_limit:
        st.markdown("**By limit**: what the camera stops by it, against people who name what it looks for")
        st.dataframe(
            [
                {
                    "": one.name,
                    "stopped": one.stopped,
                    "false alarms": share(one.false_alarm),
                    "missed": "–" if one.pair is None else share(one.pair.missed),
                    "kappa": "–" if one.pair is None else coefficient(one.pair.kappa),
                }
                for one in study.by_limit
            ],
            hide_index=True,
        )
    if study.corrected is not None:
        found = study.corrected
        st.markdown(
            f"**Without people's own misses**: bad pieces {share(found.bad)}, of these the camera misses "
            f"{share(found.missed)}, false alarms {share(found.false_alarm)}. {found.words}"
        )
    if agreement.left_out:
        with st.expander(f"{len(agreement.left_out)} pieces left out of the table of the majority"):
            st.markdown("\n".join(f"- {one.tray}, piece {one.piece}: {one.reason}" for one in agreement.left_out))


def _row(name: str, pair: Pair) -> dict[str, str | int]:
    return {
        "": name,
        "pieces": sum(map(sum, pair.table)),
        "agreement": share(pair.agreement),
        "kappa": coefficient(pair.kappa),
        "AC1": coefficient(pair.ac1),
        "missed": share(pair.missed),
        "false alarms": share(pair.false_alarm),
    }


def _take_away(server: ServerState, study: AgreementStudy, lot: StudyLot, where: ReportFolders) -> None:
    take_away(
        f"agreement-{lot.name}",
        stamped_page(server, lambda: agreement_page(study, lot.lot.trays, where)),
        lambda: json_text(agreement_table(study)),
    )
