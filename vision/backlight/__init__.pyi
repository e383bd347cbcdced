from .field import (
    BLOCK_PX as BLOCK_PX,
    FIELD as FIELD,
    Backlight as Backlight,
    Field as Field,
    NoBacklight as NoBacklight,
    model_backlight as model_backlight,
)
from .lamp import (
    LampState as LampState,
    check_empty as check_empty,
    lamp_drift as lamp_drift,
    lamp_state as lamp_state,
)
from .limits import light_findings as light_findings, proposed_limits as proposed_limits
from .response import fitted_response as fitted_response, response_finding as response_finding
from .settings import BACKLIGHT as BACKLIGHT
