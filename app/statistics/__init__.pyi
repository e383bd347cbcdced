from .anova import (
    Line as Line,
    OneWay as OneWay,
    TwoWay as TwoWay,
    one_way as one_way,
    pooled as pooled,
    two_way as two_way,
)
from .breaks import regrinds as regrinds
from .capability import Capability as Capability, capability as capability
from .charts import (
    RANGE_MEAN as RANGE_MEAN,
    Chart as Chart,
    Cusum as Cusum,
    Process as Process,
    cusum as cusum,
    ewma as ewma,
    individuals as individuals,
    moving_ranges as moving_ranges,
    rate_chart as rate_chart,
    share_chart as share_chart,
)
from .deconvolution import true_values as true_values
from .intervals import (
    UNDEFINED as UNDEFINED,
    Estimate as Estimate,
    PairedCounts as PairedCounts,
    clopper_pearson as clopper_pearson,
    difference_paired as difference_paired,
    misses_allowed as misses_allowed,
    pieces_for_half_width as pieces_for_half_width,
    pieces_for_promise as pieces_for_promise,
    pieces_for_wilson as pieces_for_wilson,
    predicted_count as predicted_count,
    wilson as wilson,
)
from .kappa import (
    PrevalenceBias as PrevalenceBias,
    cohen_kappa as cohen_kappa,
    counts_of_table as counts_of_table,
    fleiss_kappa as fleiss_kappa,
    gwet_ac1 as gwet_ac1,
    mcnemar_p as mcnemar_p,
    pieces_for_kappa as pieces_for_kappa,
    prevalence_bias as prevalence_bias,
)
from .kappa_ends import (
    ac1_ends as ac1_ends,
    ac1_se as ac1_se,
    ac1_value as ac1_value,
    kappa_ends as kappa_ends,
    kappa_of as kappa_of,
    kappa_se as kappa_se,
    many_ends as many_ends,
    many_values as many_values,
)
from .latent_class import LEAST_JUDGES as LEAST_JUDGES, latent_classes as latent_classes
from .likeness import likeness as likeness, worth as worth
from .line import StraightLine as StraightLine, straight_line as straight_line
from .mean_squares import Component as Component, Term as Term, component as component
from .places import (
    EDGE_KINDS as EDGE_KINDS,
    FACE_KINDS as FACE_KINDS,
    UNNAMED as UNNAMED,
    Ground as Ground,
    Mark as Mark,
    Place as Place,
    SamePlace as SamePlace,
    same_place as same_place,
)
from .pod import FEWEST_PIECES as FEWEST_PIECES, Detectability as Detectability, detectability as detectability
from .roc import RocCurve as RocCurve, roc_area as roc_area, roc_curve as roc_curve
from .round_numbers import grid as grid, round_step as round_step, roundest as roundest
from .run_length import cusum_run_length as cusum_run_length, ewma_run_length as ewma_run_length
from .sampling import (
    AQLS as AQLS,
    Level as Level,
    Plan as Plan,
    Severity as Severity,
    quality_at as quality_at,
    single_plan as single_plan,
)
from .switching import Course as Course, after_lot as after_lot, begin as begin, why_not_begin as why_not_begin
from .trends import (
    LIKENESS as LIKENESS,
    Array as Array,
    StrokesLeft as StrokesLeft,
    Trend as Trend,
    step_design as step_design,
    strokes_left as strokes_left,
    trend as trend,
    whitened as whitened,
)
from .weighted import (
    HIT as HIT,
    MISS as MISS,
    Cells as Cells,
    differ_p as differ_p,
    share_bound as share_bound,
    weighted_difference as weighted_difference,
    weighted_share as weighted_share,
)
