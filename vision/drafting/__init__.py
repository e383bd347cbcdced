"""From a drawing as it comes to a part: which contour is the piece, how it lies, where its zones are."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
