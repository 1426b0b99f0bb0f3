"""The errors of the link to a board. Each has one line that says what to do."""

from __future__ import annotations

from gen.errors import InputError


class LinkError(InputError):
    """A fault of the link or the board. Nothing was half done, unless the message says so."""

    def __init__(self, port: str, what: str, allowed: str) -> None:
        super().__init__(port, what, None, allowed)


class Unplugged(LinkError):
    """The port is not there, or went away."""

    again = "allowed: plug it in again and repeat the command, see `weldbeat ports`"


class PortBusy(LinkError):
    """Another program holds the port."""


class Silent(LinkError):
    """Nothing answers: another device, or a board in the middle of a weld."""


class OtherFirmware(LinkError):
    """A device answers, but not with a Weldbeat firmware of this protocol."""


class DamagedFirmware(OtherFirmware):
    """A Weldbeat firmware that found a file of its own damaged, and runs none of it."""


class OtherProtocol(OtherFirmware):
    """A Weldbeat firmware that is older or newer than this program."""


class NotSerial(OtherFirmware):
    """The port given is no serial port."""


class BoardRefused(LinkError):
    """The board understood the request and refuses it. `code` is that of its error reply, from gen/words.py."""

    def __init__(self, port: str, code: int, what: str, allowed: str) -> None:
        super().__init__(port, what, allowed)
        self.code = code
