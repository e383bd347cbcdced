from .agreement import MAJORITY as MAJORITY, Agreement as Agreement, Dispute as Dispute
from .agreement_study import AgreementStudy as AgreementStudy, agree as agree
from .bias import BiasStudy as BiasStudy, Stability as Stability, study_bias as study_bias
from .bias_files import bias_table as bias_table
from .bias_input import read_readings as read_readings
from .camera_and_people import (
    ACCEPT as ACCEPT,
    NO_VERDICT as NO_VERDICT,
    REJECT as REJECT,
    PieceKey as PieceKey,
    answers as answers,
    majority as majority,
)
from .capability_study import LimitCapability as LimitCapability
from .changes import (
    Change as Change,
    Changes as Changes,
    changes_between as changes_between,
    compare_revisions as compare_revisions,
)
from .columns import Codes as Codes, PieceColumns as PieceColumns, columns_of as columns_of
from .decision_risk import LimitRisk as LimitRisk
from .die_study import DieCharts as DieCharts, DieStudy as DieStudy, study_dies as study_dies
from .die_wear import (
    PER_STROKES as PER_STROKES,
    DieHistory as DieHistory,
    DieTray as DieTray,
    DieWear as DieWear,
    WearMap as WearMap,
    put_together as put_together,
)
from .escapes import Escapes as Escapes, PassedBlind as PassedBlind
from .fates import fates_of as fates_of
from .fitness_words import Thresholds as Thresholds
from .gauge import GaugeStudy as GaugeStudy, GaugeTable as GaugeTable, Source as Source, study_gauge as study_gauge
from .gauge_input import balanced as balanced, read_gauge_table as read_gauge_table
from .lot import Lot as Lot, part_as_seen as part_as_seen, read_lot as read_lot
from .lot_risks import LotRisks as LotRisks, risks_table as risks_table, study_lot_risks as study_lot_risks
from .lot_sampling import Acceptance as Acceptance, SampledLot as SampledLot, accept_series as accept_series
from .lot_summary import (
    DIE as DIE,
    PACKED as PACKED,
    STROKES as STROKES,
    Fate as Fate,
    LotFigures as LotFigures,
    LotPiece as LotPiece,
    LotTray as LotTray,
    LotYield as LotYield,
    MeasureSum as MeasureSum,
    OverTime as OverTime,
    Share as Share,
    lot_figures as lot_figures,
)
from .main_reason import first_reason as first_reason, reason_name as reason_name
from .measuring_system import MeasuringSystem as MeasuringSystem, measuring_system as measuring_system
from .over_time import drifts as drifts
from .pairs import Pair as Pair
from .pod_study import PLAIN as PLAIN, Curve as Curve, PodStudy as PodStudy, study_pod as study_pod
from .rejudge import rejudge_all as rejudge_all
from .round_size import round_size as round_size
from .samples import ALL_PIECES as ALL_PIECES, FLAGGED as FLAGGED, Sample as Sample, Stratum as Stratum
from .settings import (
    COUNT_RULES as COUNT_RULES,
    Target as Target,
    setting_now as setting_now,
    target_of as target_of,
    with_setting as with_setting,
)
from .study_files import (
    agreement_table as agreement_table,
    figure as figure,
    gauge_table as gauge_table,
    json_text as json_text,
)
from .sweeps import Sweep as Sweep, codes_at as codes_at, sweep as sweep
from .tuning import Rates as Rates, Task as Task, rates_at as rates_at
from .tuning_costs import Costs as Costs
from .tuning_files import tuning_table as tuning_table
from .tuning_sample import Promise as Promise
from .tuning_study import (
    Question as Question,
    Truth as Truth,
    TuningStudy as TuningStudy,
    truth_of as truth_of,
    tune as tune,
    tune_columns as tune_columns,
)
