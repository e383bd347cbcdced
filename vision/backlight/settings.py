"""Every constant of this room that decides what is measured or told, by idea: units and reasons stand beside each."""

from dataclasses import dataclass

from vision.backlight.codes import CODES, CodeSettings
from vision.backlight.field import FIELD, FieldSettings
from vision.backlight.lamp import LAMP, LampSettings
from vision.backlight.response import RESPONSE, ResponseSettings


@dataclass(frozen=True, slots=True)
class BacklightSettings:
    """By the module that they stand in."""

    codes: CodeSettings = CODES
    field: FieldSettings = FIELD
    lamp: LampSettings = LAMP
    response: ResponseSettings = RESPONSE


BACKLIGHT = BacklightSettings()
