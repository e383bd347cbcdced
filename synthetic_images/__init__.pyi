from .demo import (
    DemoLine as DemoLine,
    DemoWorks as DemoWorks,
    demo_steps as demo_steps,
    render_demo as render_demo,
)
from .outlines.families import FAMILIES as FAMILIES
from .spoons import PATTERNS as PATTERNS
from .trays.shots import Order as Order, render_shots as render_shots
