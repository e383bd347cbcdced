from .badness import badness as badness
from .believable import against_limits as against_limits, unfounded as unfounded
from .comparison import says_nothing_worse as says_nothing_worse
from .correction import (
    CORRECTABLE as CORRECTABLE,
    corrected as corrected,
    correction_in_force as correction_in_force,
)
from .counts import (
    COUNTED_MEASURES as COUNTED_MEASURES,
    Counting as Counting,
    counted_measures as counted_measures,
    counted_spread as counted_spread,
    counted_values as counted_values,
    seen_of as seen_of,
)
from .defaults import (
    defaults_of as defaults_of,
    is_default as is_default,
    not_measured_then as not_measured_then,
)
from .first_draft import Wanted as Wanted, first_draft as first_draft, wanted_limits as wanted_limits
from .general_tolerances import SOURCE as SOURCE, GeneralClass as GeneralClass
from .grades import face_grades as face_grades
from .guard import (
    PASS as PASS,
    REJECT as REJECT,
    REVIEW as REVIEW,
    bounds_of as bounds_of,
    conformances as conformances,
    limit_outcomes as limit_outcomes,
    outcomes_of as outcomes_of,
    quantile as quantile,
)
from .limits_fit import (
    LimitFault as LimitFault,
    check_limits as check_limits,
    limit_faults as limit_faults,
    no_zone_left as no_zone_left,
)
from .marks import Faces as Faces, faces_of as faces_of
from .measures import MEASURES as MEASURES, SCORED_AREA as SCORED_AREA
from .revisions import changes as changes, next_draft as next_draft
from .spreads import Normal as Normal, Spread as Spread
from .told import told_findings as told_findings
from .verdicts import judge as judge, rejudge as rejudge, undecidable as undecidable
