from .server import serve as serve
from .server_state import ServerState as ServerState, lasting_secret as lasting_secret
