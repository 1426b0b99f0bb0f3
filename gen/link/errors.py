"""What can go wrong between this computer and a board, each with one line that says what to do."""

from __future__ import annotations

from gen.errors import InputError


class LinkError(InputError):
    """Something on the way to the board, or on the board, is not as it should be. Nothing was half done unless it says so."""

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
    """Something answers, but not a Weldbeat firmware of this protocol."""


class OtherProtocol(OtherFirmware):
    """A Weldbeat firmware that is older or newer than this program."""


class NotSerial(OtherFirmware):
    """What is named as the port is no serial port."""


class BoardRefused(LinkError):
    """The board understood and will not. `code` is that of its error reply, in gen/words.py."""

    def __init__(self, port: str, code: int, what: str, allowed: str) -> None:
        super().__init__(port, what, allowed)
        self.code = code
