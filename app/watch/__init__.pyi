from .loop import Watcher as Watcher
from .prepare import Order as Order
from .single_instance import alone as alone, once_there as once_there
