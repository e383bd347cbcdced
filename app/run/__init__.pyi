from .attempt import Outcome as Outcome, unforeseen as unforeseen
from .challenge import known_bad as known_bad, plant_bad as plant_bad
from .cluster import Cluster as Cluster, read_cluster as read_cluster
from .demo_people import half_a_blind_round as half_a_blind_round, judge_the_queue as judge_the_queue
from .ending import Stopped as Stopped, end_now as end_now, ended_by_signals as ended_by_signals
from .line import hand_over as hand_over, read_broker as read_broker
from .planting import Planted as Planted, Sown as Sown, false_findings as false_findings, sow as sow
from .session import PIECES_FILE as PIECES_FILE, Summary as Summary, run as run
from .shot import Work as Work, read_work as read_work
from .teach_part import TaughtPart as TaughtPart, release_taught as release_taught, teach_part as teach_part
from .teaching import Teaching as Teaching
from .worker_pool import WorkerPool as WorkerPool
