from .backup import back_up as back_up, restore as restore
from .chosen import acts_on as acts_on, open_chosen as open_chosen
from .disk import forecast as forecast
from .first_steps import Step as Step, first_steps as first_steps, without_limits as without_limits
from .folder import (
    WORKS_FILE as WORKS_FILE,
    Person as Person,
    Works as Works,
    new_works as new_works,
    read_works as read_works,
)
from .judge_in_force import (
    judge_of_marks as judge_of_marks,
    known_judge as known_judge,
    next_judge_revision as next_judge_revision,
    release_judge as release_judge,
    withdraw_judge as withdraw_judge,
)
from .limits_in_force import (
    faults_of as faults_of,
    go_back as go_back,
    limits_judging as limits_judging,
    read_limits_of as read_limits_of,
    release_file as release_file,
    release_limits as release_limits,
)
from .people import add_person as add_person
from .results_on_disk import (
    Filing as Filing,
    JudgedBy as JudgedBy,
    file_folders as file_folders,
    file_run as file_run,
    ready_to_file as ready_to_file,
    result_folders as result_folders,
    show_as_before as show_as_before,
    show_standing as show_standing,
)
from .retention import forget as forget, plan as plan
from .rights import rights_words as rights_words
from .roles import ROLES as ROLES, Role as Role, may as may, who_acts as who_acts, why_not as why_not
from .runs import Run as Run, runs_of as runs_of, shot_in as shot_in
from .shot_folders import (
    BESIDE as BESIDE,
    RESULT_FILE as RESULT_FILE,
    frames_digest as frames_digest,
    put_standing as put_standing,
    shot_folder as shot_folder,
)
from .shots_in_use import shots_in_use as shots_in_use
