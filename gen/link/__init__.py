"""The serial link to a board: what is said (`messages`), how (`framing`), and by whom (`client.Link`).

Besides: schedules to a board and back (`exchange`), its welds as they come (`watching`), and its firmware (`flashing`).
"""

from gen.link.client import Link
from gen.link.errors import LinkError
from gen.link.exchange import Pushed, answer_on, as_file, push, schedule_name
from gen.link.watching import Look, Watch

__all__ = ["Link", "LinkError", "Look", "Pushed", "Watch", "answer_on", "as_file", "push", "schedule_name"]
