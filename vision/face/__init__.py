"""The polished face: frames laid over the drawing, the finish evened out, scratches and pits found and sized."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
