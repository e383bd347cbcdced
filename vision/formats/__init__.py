"""Strict readers and writers, one file a format: all of them, wherever the format is used."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
