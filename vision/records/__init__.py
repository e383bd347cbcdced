"""The nouns: what is given, what was measured, what was judged."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
