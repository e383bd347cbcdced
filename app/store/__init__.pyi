from .database.connection import Away as Away, Store as Store, clock_s as clock_s, open_store as open_store
from .database.definitions import Kind as Kind, digests_here as digests_here, digests_of as digests_of
from .database.file_lock import take_lock as take_lock
from .database.restored import note_walked as note_walked
from .database.schema import bench as bench
from .database.soundness import in_use as in_use
from .evidence.chain import Head as Head, head_of as head_of
from .evidence.copies import copy_store as copy_store, copy_to_file as copy_to_file
from .evidence.filed_bytes import filed_lately as filed_lately
from .evidence.files import kept_files as kept_files
from .evidence.retention import (
    Forgotten as Forgotten,
    Framed as Framed,
    forgotten_files as forgotten_files,
    framed_shots as framed_shots,
    kept_digests as kept_digests,
    note_forgotten as note_forgotten,
    why_forgotten as why_forgotten,
)
from .evidence.signature import check_signature as check_signature, key_file as key_file, signed as signed
from .evidence.verify import file_digest as file_digest, verify as verify
from .line.outbox import (
    AT_ONCE as AT_ONCE,
    Message as Message,
    make_messages as make_messages,
    mark_sent as mark_sent,
    unsent as unsent,
)
from .lots.archive import archive_lot as archive_lot, check_parquet as check_parquet, read_archive as read_archive
from .lots.as_it_stands import Wish as Wish, decide_as_it_stands as decide_as_it_stands
from .lots.decisions import Decision as Decision, Word as Word
from .lots.doubts import doubts_left as doubts_left, settle_doubts as settle_doubts
from .lots.lot_list import LISTED as LISTED, known_parts as known_parts, list_lots as list_lots
from .lots.lot_size import state_size as state_size, stated_size as stated_size
from .lots.revisions import (
    Revision as Revision,
    file_limits as file_limits,
    limits_of as limits_of,
    limits_standing as limits_standing,
    release as release,
    revisions as revisions,
)
from .lots.series import series_up_to as series_up_to
from .lots.state import LotState as LotState, lot_state as lot_state, standings as standings
from .people.actor import Acted as Acted
from .people.blind_rounds import (
    Blind as Blind,
    blinds as blinds,
    given_by_each as given_by_each,
    lots_of as lots_of,
    make_blind as make_blind,
    turns_left as turns_left,
)
from .people.drawing import Draw as Draw, draw_pieces as draw_pieces, stratum_sizes as stratum_sizes
from .people.holding import Holding as Holding, holdings as holdings
from .people.labels import (
    FindingLabel as FindingLabel,
    NewLabel as NewLabel,
    give_label as give_label,
    label_count as label_count,
    labels as labels,
    labels_given as labels_given,
)
from .people.looks import Looks as Looks, looks_of_round as looks_of_round, second_looks as second_looks
from .people.pace import pace as pace
from .people.questions import questions as questions
from .people.review_queue import (
    Choices as Choices,
    Holder as Holder,
    choices as choices,
    claim as claim,
    give_back as give_back,
    in_hand as in_hand,
    renew as renew,
    waiting as waiting,
    waiting_count as waiting_count,
)
from .people.samples import Choice as Choice, samples_of as samples_of
from .people.table import bring_in as bring_in
from .people.verdicts import (
    NewVerdict as NewVerdict,
    Standing as Standing,
    give as give,
    holding as holding,
    standing as standing,
)
from .people.wanted import NO_ZERO as NO_ZERO, Text as Text, Wanted as Wanted
from .results.acts import ResultFile as ResultFile, newest_path as newest_path
from .results.die_history import (
    PartHistory as PartHistory,
    ShotRead as ShotRead,
    history_mark as history_mark,
    history_of as history_of,
)
from .results.exports import (
    as_parquet as as_parquet,
    export_labels as export_labels,
    export_pieces as export_pieces,
    export_verdicts as export_verdicts,
)
from .results.filing import (
    PictureFile as PictureFile,
    ToFile as ToFile,
    file_result as file_result,
    file_tray as file_tray,
    frame_pictures as frame_pictures,
    kept_path as kept_path,
)
from .results.in_force import never_in_force as never_in_force
from .results.recall import Which as Which, recall_results as recall_results
from .results.repeats import (
    repeated_measures as repeated_measures,
    repeated_trays as repeated_trays,
    repeats as repeats,
)
from .results.shots import Chosen as Chosen, Undecided as Undecided
from .results.shown import (
    Neighbour as Neighbour,
    PicturePath as PicturePath,
    Shown as Shown,
    neighbours as neighbours,
    newest_judgement as newest_judgement,
    newest_judgements as newest_judgements,
    part_of as part_of,
    profile_of as profile_of,
    shown as shown,
    station_of as station_of,
)
from .results.trials import trials as trials, verdict_counts as verdict_counts
from .results.watched import dealt_with as dealt_with, note_judged as note_judged, put_aside as put_aside
from .stations.challenges import (
    Challenge as Challenge,
    challenges as challenges,
    file_challenge as file_challenge,
)
from .stations.checks import (
    Check as Check,
    checked_stations as checked_stations,
    file_checks as file_checks,
    station_checks as station_checks,
    suspect_trays as suspect_trays,
)
from .stations.definitions import file_station as file_station
from .stations.light import light_history as light_history, light_limits as light_limits
