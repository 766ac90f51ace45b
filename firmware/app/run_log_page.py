"""Reading the run log back, a page at a time; loaded when somebody asks for one."""

import json

from app.link_frame import MAX_BODY
from app.run_log import SEGMENTS, lines

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.run_log import RunLog

PAGE = 6  # lines in one record of the link, fewer where they are long
PAGE_BYTES = MAX_BODY - 64  # what the answer holds besides stays within the rest


def page(run_log: "RunLog", start: int) -> list[dict]:
    """Return up to PAGE kept runs from number start on, oldest first, as dicts.

    Where the log begins later, so does the page.
    """
    found: list[dict] = []
    room = PAGE_BYTES
    for step in range(1, len(SEGMENTS) + 1):
        segment = SEGMENTS[(run_log.segment + step) % len(SEGMENTS)]
        for _, body in lines(run_log.files.read(segment), start):
            room -= len(body) + 2
            if found and room < 0:
                return found
            found.append(json.loads(body))
            if len(found) == PAGE:
                return found
    return found
