"""Statistics as pure functions: numbers in, figures out; they know no store, no page and no format."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
