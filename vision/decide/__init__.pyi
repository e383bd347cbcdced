from .counts import COUNTED_MEASURES as COUNTED_MEASURES, SURE as SURE, finding_uncertainty as finding_uncertainty
from .defaults import (
    LATER_MEASURES as LATER_MEASURES,
    SEEN_MEASURES as SEEN_MEASURES,
    defaults_of as defaults_of,
    is_default as is_default,
    not_measured_then as not_measured_then,
)
from .grades import face_grades as face_grades
from .guard import quantile as quantile
from .limits_fit import check_limits as check_limits, no_zone_left as no_zone_left
from .measures import MEASURES as MEASURES
from .revisions import changes as changes, next_draft as next_draft
from .verdicts import judge as judge, undecidable as undecidable
