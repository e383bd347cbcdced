"""A works folder: where its parts, stations, limits, shots and results lie, and which judge which."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
