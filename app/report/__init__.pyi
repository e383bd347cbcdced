from .blind_map import blind_regions as blind_regions
from .calibration_report import calibration_page as calibration_page
from .check_report import (
    check_chart as check_chart,
    check_page as check_page,
    histories as histories,
    since_calibration as since_calibration,
    why_stopped as why_stopped,
)
from .deviation_outline import magnification as magnification
from .die_charts import (
    control_charts as control_charts,
    letter as letter,
    places_picture as places_picture,
    rate_words as rate_words,
    trend_chart as trend_chart,
    wear_map_picture as wear_map_picture,
)
from .die_report import (
    DieReport as DieReport,
    break_words as break_words,
    die_page as die_page,
    die_table as die_table,
    left_words as left_words,
)
from .drawing_sheets import draw_found as draw_found, draw_part_sheet as draw_part_sheet
from .finding_words import with_because as with_because
from .glossary import GLOSSARY as GLOSSARY
from .inspected import Inspected as Inspected
from .limits_words import limits_words as limits_words, lot_limits_words as lot_limits_words
from .lot_charts import over_time_chart as over_time_chart, shares_chart as shares_chart
from .lot_document import (
    LotReport as LotReport,
    lot_page as lot_page,
    lot_report as lot_report,
    measure_row as measure_row,
)
from .lot_table import lot_table as lot_table
from .lot_words import (
    NAMED as NAMED,
    decision_words as decision_words,
    escapes_words as escapes_words,
    first_reason_words as first_reason_words,
    next_words as next_words,
    sample_words as sample_words,
    yield_words as yield_words,
)
from .mark_crops import mark_picture as mark_picture
from .part_folder import write_part_folder as write_part_folder
from .pictures import write_index as write_index, write_pictures as write_pictures
from .pod_report import (
    axis_words as axis_words,
    curve_words as curve_words,
    examples as examples,
    pod_page as pod_page,
    pod_table as pod_table,
)
from .risk_charts import capability_row as capability_row, risk_chart as risk_chart, risk_words as risk_words
from .stamp import Stamp as Stamp, stamp_of as stamp_of, stamped as stamped
from .study_agreement import (
    agreement_page as agreement_page,
    camera_rates_chart as camera_rates_chart,
)
from .study_bias import bias_page as bias_page, range_chart as range_chart, time_chart as time_chart
from .study_gauge import (
    NAMES as NAMES,
    components_chart as components_chart,
    gauge_page as gauge_page,
    interaction_chart as interaction_chart,
    part_chart as part_chart,
)
from .study_page import (
    ReportFolders as ReportFolders,
    coefficient as coefficient,
    digits as digits,
    pdf_bytes as pdf_bytes,
    share as share,
    study_folder as study_folder,
    write_page as write_page,
)
from .study_tuning import (
    distribution_chart as distribution_chart,
    setting_rates_chart as setting_rates_chart,
    tuning_page as tuning_page,
)
from .style import ACCENT as ACCENT, INK as INK, PAPER as PAPER, SIGNS as SIGNS, WASH as WASH
from .svg import path as path, sign as sign
from .teaching_report import teaching_page as teaching_page
from .tray_picture import draw_tray as draw_tray
from .upright import (
    Grey as Grey,
    Window as Window,
    as_grey as as_grey,
    crop_upright as crop_upright,
    outward_normals as outward_normals,
)
from .words import (
    FAULTS as FAULTS,
    known_words as known_words,
    measure_words as measure_words,
    number_words as number_words,
    reason_words as reason_words,
    sure_words as sure_words,
    unseen_words as unseen_words,
    whose_words as whose_words,
)
