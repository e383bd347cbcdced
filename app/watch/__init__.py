"""An inbox watched: each tray judged once it is complete, and filed; nothing is lost, whatever ends or fails."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
