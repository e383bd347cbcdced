"""Studies: from records of judged pieces and people's verdicts to the figures of a report."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
