"""Counting rules, guard bands, verdicts and revisions of limits; they see no image."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
