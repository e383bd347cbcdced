"""Which settings measure: the constants of all rooms that decide what is measured or told, as a result carries them.

Those of the face stand beside their code and join here once the judge of marks is in.
"""

import hashlib
import json
from dataclasses import asdict
from functools import cache

from vision.backlight import BACKLIGHT
from vision.outline import OUTLINE
from vision.records import SettingsUsed


@cache
def settings_used() -> SettingsUsed:
    """The settings by which this program measures.

    Returns
    -------
    SettingsUsed
        By room and idea, lengths in the unit of their name; equal settings bear an equal `digest`.
    """
    # As a file holds them: lists for tuples, so that what is read back is equal.
    values = json.loads(json.dumps({"backlight": asdict(BACKLIGHT), "outline": asdict(OUTLINE)}))
    plain = json.dumps(values, sort_keys=True, separators=(",", ":"))
    return SettingsUsed(hashlib.blake2b(plain.encode(), digest_size=16).hexdigest(), values)
