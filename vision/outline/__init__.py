"""From a backlit frame to measured outlines: what lies on the tray, where, and how it departs from the drawing."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
