"""The backlight: how bright it is everywhere, what state the lamp is in, and what a station allows of both."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
