from .server import serve as serve
from .server_state import Desk as Desk, lasting_secret as lasting_secret
