"""All that a process needs that judges: loaded once, in the process from which those of the tests are forked."""

from importlib import import_module

import app.run.attempt
import vision.pipeline

assert app.run.attempt
assert vision.pipeline
for room in ("backlight", "decide", "face", "formats", "geometry", "outline", "records"):
    door = import_module(f"vision.{room}")
    for name in door.__all__:
        getattr(door, name)
