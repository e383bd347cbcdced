"""Tuning on a lot: move one limit, see what it misses, scraps and changes; write a draft; release it."""

from dataclasses import dataclass, replace
from math import ceil, floor

import numpy as np
import streamlit as st

from app.pages.risks import lot_risks, show_risks
from app.pages.study_lot import (
    KEPT_S,
    StudyLot,
    lot_key,
    report_folders,
    show_chart,
    stamped_page,
    study_head,
    take_away,
)
from app.pages.tuning_judge import judge_of_part
from app.pages.tuning_pieces import piece_words, show_changed, show_tuned
from app.pages.tuning_revisions import compare_limits, keep_draft, next_number, release_draft, revision_words
from app.pages.tuning_words import limit_words, title_of
from app.report import distribution_chart, setting_rates_chart, share, tuning_page
from app.statistics import Estimate, round_step
from app.store import Revision, revisions
from app.studies import (
    COUNT_RULES,
    Changes,
    Codes,
    Costs,
    Promise,
    Question,
    Sample,
    Sweep,
    Target,
    Task,
    Truth,
    TuningStudy,
    changes_between,
    codes_at,
    json_text,
    rates_at,
    rejudge_all,
    risks_table,
    setting_now,
    sweep,
    target_of,
    truth_of,
    tune_columns,
    tuning_table,
    with_setting,
)
from vision.decide import MEASURES, SCORED_AREA
from vision.records import Limits

PERCENT = 100.0
STEPS = 200
"""Steps of the slider over the range of values: fine enough to set a limit, coarse enough to drag."""


@dataclass(frozen=True, slots=True)
class Moved:
    """The setting on the slider and the draft that it makes."""

    setting: float
    draft: Limits


def tuning_study_page() -> None:
    """Tune a limit or a counting rule."""
    if (head := study_head()) is None:
        return
    server, who, lot = head.server, head.who, head.lot
    known = revisions(server.store, lot.part)
    if not known:
        st.info("The store holds no limits of this part yet: they are filed with the first tray that is inspected.")
        return
    asked = _ask(lot, known)
    base, target = asked.base, asked.target
    for sample in head.samples:
        st.markdown(f"{sample.words} {sample.held}")
    studied = _studied(lot, head.samples, base, target, asked.task)
    study = studied.study
    moved = _move(lot, base, target, study, next_number(known))
    codes = _codes(lot, studied, moved)
    changes = changes_between(lot.columns, studied.before, codes)
    _figures(study, moved, changes)
    words = piece_words(lot, studied.swept, moved.setting, head.samples)
    if study is not None:
        show_tuned(server, lot, (studied.truth, codes), words, who)
    show_changed(server, changes, words, who)
    keep_draft(server, moved.draft, who)
    release_draft(server, lot, who)
    compare_limits(lot, known)
    judge_of_part(server, lot.part, who)
    show_risks(lot, base)
    if study is not None:
        done = study
        take_away(
            f"tuning-{lot.name}",
            stamped_page(
                server,
                lambda: tuning_page(done, head.samples, lot.lot.trays, report_folders(server), lot_risks(lot, base)),
            ),
            lambda: json_text(tuning_table(done, head.samples) | risks_table(lot_risks(lot, base))),
        )


@dataclass(frozen=True, slots=True, eq=False)
class Studied:
    """What stays while the slider moves; `study` None where nobody judged a piece."""

    truth: Truth
    study: TuningStudy | None
    swept: Sweep
    before: Codes


def samples_key(samples: list[Sample]) -> tuple[tuple[str, str, int], ...]:
    """What tells one choice of verdicts from another where a study is kept for it."""
    return tuple((one.name, one.given, hash(one.verdicts)) for one in samples)


@st.cache_resource(
    ttl=KEPT_S,
    max_entries=16,
    show_spinner="Studying the lot …",
    hash_funcs={StudyLot: lot_key, list: samples_key, Limits: repr, Target: repr, Task: repr},
)
def _studied(lot: StudyLot, samples: list[Sample], base: Limits, target: Target, task: Task) -> Studied:
    truth = truth_of(lot.columns, samples)
    study = None
    if (truth.said >= 0).any():
        question = Question(target.name, target.zone, target.side, target.severity, task)
        study = tune_columns(lot.columns, truth, base, question)
    return Studied(truth, study, sweep(lot.columns, base, target), rejudge_all(lot.columns, base))


def _codes(lot: StudyLot, studied: Studied, moved: Moved) -> Codes:
    """Verdicts at the slider; a counting rule's sweep knows round steps only, so there the lot is judged again."""
    if studied.swept.target.is_rule:
        return rejudge_all(lot.columns, moved.draft)
    return codes_at(studied.swept, moved.setting)


@dataclass(frozen=True, slots=True, eq=False)
class _Asked:
    """Which limits are changed, what in them, and what is to be promised."""

    base: Limits
    target: Target
    task: Task


def _ask(lot: StudyLot, known: tuple[Revision, ...]) -> _Asked:
    """Which limits are changed, what in them, and what is to be promised."""
    one, two, three, four = st.columns([0.28, 0.34, 0.2, 0.18], vertical_alignment="bottom")
    released = [k for k, one in enumerate(known) if one.in_force] or [
        k for k, one in enumerate(known) if one.limits.status == "released"
    ]
    with one:
        base = st.selectbox(
            "Starting from", known, index=released[-1] if released else len(known) - 1, format_func=revision_words
        ).limits
    present = [name for name in MEASURES if _measured(lot, name)]
    with two:
        name = st.selectbox("Measure or counting rule", [*present, *COUNT_RULES], format_func=title_of)
    zones = lot.columns.zones(name) if name not in COUNT_RULES else ()
    with three:
        zone = st.selectbox("Zone", [None, *zones], format_func=lambda z: z or "every zone", disabled=not zones)
    with four, st.popover("What is asked"):
        missed = st.number_input("Missed, at most %", 0.1, 50.0, 5.0, 0.5)
        confidence = st.number_input("Confidence %", 50.0, 99.9, 95.0, 1.0)
        priced = st.toggle("Weigh costs")
        costs = None
        if priced:
            costs = Costs(
                st.number_input("Cost of a bad piece that passes", 0.0, value=40.0),
                st.number_input("Cost of a good piece that does not", 0.0, value=0.5),
                st.number_input("Bad pieces in production %", 0.0, 100.0, 2.0) / PERCENT,
            )
        # Whoever looks at several settings may choose the best of them: each look has its share of the promise's risk.
        looked_at = st.session_state.setdefault(f"looked at {lot.name} {lot.part}", set())
        looked_at.add((name, zone))
        earlier = st.number_input("Measures tried on these pieces before this sitting", 0, 1000, 0)
    promise = Promise(missed / PERCENT, confidence / PERCENT, len(looked_at) + earlier)
    return _Asked(base, target_of(base, name, zone), Task(promise, costs))


def _measured(lot: StudyLot, name: str) -> bool:
    columns = lot.columns.measures.get(name)
    if columns is None:
        # formed by counting rules, where the face was scored
        columns = lot.columns.measures[SCORED_AREA]
    return any(bool(np.isfinite(column.value).any()) for column in columns.values())


def _move(lot: StudyLot, base: Limits, target: Target, study: TuningStudy | None, number: int) -> Moved:
    """The slider, over the range of values seen and the settings of interest; its draft has the number given."""
    now = setting_now(base, target)
    recommended = None if study is None else study.tuning.recommended.setting
    places_of_interest = [one for one in (now, recommended) if one is not None]
    span = _range(lot, target, places_of_interest)
    start = now if now is not None else recommended if recommended is not None else span.high
    setting = st.slider(
        limit_words(target),
        span.low,
        span.high,
        min(max(start, span.low), span.high),
        span.step,
        format="%.4g",
        key=f"setting_{target.words}_{base.revision}",
    )
    draft = with_setting(base, target, setting, lot.columns.zones(target.name))
    return Moved(setting, replace(draft, revision=number))


@dataclass(frozen=True, slots=True)
class _Range:
    """Settings of the slider, in the target's unit."""

    low: float
    high: float
    step: float


def _range(lot: StudyLot, target: Target, of_interest: list[float]) -> _Range:
    """Lowest and highest setting, and the step: a round one, so that limits are numbers that a person would write."""
    marks = lot.columns.faces.marks("scratch" if target.name.startswith("scratch") else "pit")
    if target.is_rule:
        values = marks.snr if target.name.endswith("snr") else marks.size_mm
        seen = [0.0, *values.tolist()]
    else:
        columns = lot.columns.measures.get(target.name, {})
        seen = [v for column in columns.values() for v in column.value[np.isfinite(column.value)].tolist()]
    seen += of_interest
    low, high = (min(seen), max(seen)) if seen else (0.0, 1.0)
    room = 0.05 * (high - low) or 0.5 * max(abs(high), 0.1)
    low, high = (low if low == 0.0 else low - room), high + room
    step = round_step(high - low, STEPS)
    return _Range(step * floor(low / step), step * ceil(high / step), step)


def _figures(study: TuningStudy | None, moved: Moved, changes: Changes) -> None:
    """Yield before and after, missed and false alarms at the slider, and the curves."""
    one, two, three, four = st.columns(4)
    before, after = changes.yield_before.value or 0.0, changes.yield_after.value or 0.0
    one.metric("Yield", f"{after:.1%}", f"{PERCENT * (after - before):+.1f} points", delta_color="off")
    two.metric("Pieces that change verdict", len(changes.changed))
    if study is None:
        three.metric("Missed", "–")
        four.metric("False alarms", "–")
        st.info("Nobody has judged a piece of this lot: only what changes is known, not what is right.")
        return
    rates = rates_at(study.sample, moved.setting, study.task.costs)
    three.metric("Missed", _value(rates.missed), help=f"of {study.tuning.bad_pieces} rejected: {share(rates.missed)}")
    four.metric(
        "False alarms", _value(rates.false_alarm), help=f"of {study.tuning.good_pieces}: {share(rates.false_alarm)}"
    )
    recommended = study.tuning.recommended
    (st.success if recommended.setting is not None else st.warning)(recommended.words)
    if study.tuning.curve:
        left, right = st.columns(2)
        with left:
            show_chart(setting_rates_chart(study, moved.setting), "Missed, false alarms and reviews against the limit")
        with right:
            show_chart(distribution_chart(study, moved.setting), "Values of the pieces that people accept and reject")


def _value(found: Estimate) -> str:
    return "–" if found.value is None else f"{found.value:.1%}"
