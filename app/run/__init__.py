"""One shot, a batch of shots, a watched folder: where files meet measurement."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
