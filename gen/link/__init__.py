"""The serial link to a board: the messages (`messages`), their lines (`framing`) and an open link (`client.Link`).

On top of it: push and pull of schedules (`exchange`), watching welds (`watching`), and flashing the firmware (`flashing`).
"""

from gen.link.client import Link
from gen.link.errors import LinkError
from gen.link.exchange import Pushed, answer_on, as_file, push, schedule_name
from gen.link.watching import Look, Watch

__all__ = ["Link", "LinkError", "Look", "Pushed", "Watch", "answer_on", "as_file", "push", "schedule_name"]
