from .atomic_write import not_written as not_written, write_atomic as write_atomic
from .bounded import (
    BROKEN as BROKEN,
    DRAWING_BYTES as DRAWING_BYTES,
    as_text_name as as_text_name,
    reached as reached,
)
from .checks_file import (
    Check as Check,
    Reference as Reference,
    append_check as append_check,
    check_record as check_record,
    last_good as last_good,
    of_calibration as of_calibration,
    read_checks as read_checks,
    read_reference as read_reference,
)
from .corrections import check_corrections as check_corrections
from .dxf import left_out_words as left_out_words
from .frame_names import check_lights as check_lights, named_shots as named_shots
from .frames import read_frames as read_frames
from .judge_file import read_judge as read_judge, shipped_judge as shipped_judge, write_judge as write_judge
from .judge_suites import shipped_suites as shipped_suites
from .limits import part_of_limits as part_of_limits, read_limits as read_limits, write_limits as write_limits
from .part import arranged as arranged, read_part as read_part
from .part_text import PartText as PartText, part_as_toml as part_as_toml, write_outline as write_outline
from .pieces_csv import write_pieces as write_pieces
from .profiles import (
    PROFILES_FILE as PROFILES_FILE,
    STEP_MM as STEP_MM,
    Profile as Profile,
    read_profiles as read_profiles,
    write_profiles as write_profiles,
)
from .result import (
    read_result as read_result,
    result_as_json as result_as_json,
    result_from_json as result_from_json,
    write_result as write_result,
)
from .sheet import (
    UNITS as UNITS,
    Dimension as Dimension,
    Sheet as Sheet,
    SheetCurve as SheetCurve,
    on_layers as on_layers,
    read_sheet as read_sheet,
)
from .shot import (
    find_shots as find_shots,
    has_shot_file as has_shot_file,
    is_shot as is_shot,
    read_shot as read_shot,
)
from .shot_writing import write_shot as write_shot
from .silence import quiet_libraries as quiet_libraries
from .station import names_of_frames as names_of_frames, read_station as read_station
from .station_update import GEOMETRY as GEOMETRY, update_station as update_station
from .strict import FormatOne as FormatOne, Strict as Strict, Text as Text, read_toml as read_toml
from .table import Row as Row, read_rows as read_rows, spreadsheet_cell as spreadsheet_cell
from .verdicts import COLUMNS as COLUMNS, PersonsVerdict as PersonsVerdict, read_verdicts as read_verdicts
from .view import check_height as check_height
