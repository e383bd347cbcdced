from .folder import (
    ROLES as ROLES,
    WORKS_FILE as WORKS_FILE,
    Person as Person,
    Role as Role,
    Works as Works,
    new_works as new_works,
    open_chosen as open_chosen,
    read_works as read_works,
)
from .results_on_disk import (
    JudgedBy as JudgedBy,
    file_folders as file_folders,
    file_run as file_run,
    ready_to_file as ready_to_file,
    result_folders as result_folders,
)
from .runs import Run as Run, runs_of as runs_of
