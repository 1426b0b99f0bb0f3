"""Whether the files on the board are those that were built. main.py asks before it loads any other of them.

What is asked and answered here needs no other file, since any may be the damaged one. The habit is that of the test of
invariable memory in IEC 60730-1, Annex H; no class is claimed.
"""

from binascii import crc32, hexlify
from hashlib import sha256

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import BinaryIO, Callable

_AT_ONCE = 1024  # bytes read of a file
_DIGITS = 64  # hexadecimal digits of a SHA-256
_INTERRUPT = b"\x03"  # Ctrl-C, the first byte of a program that copies files


def damaged(opened: "Callable[..., BinaryIO]", manifest: str) -> str:
    """The name of the first file that differs from the build; "" if none does.

    `manifest` names a file with lines as sha256sum writes them. Its last line has the sum of the lines before it.
    `opened` opens a file.
    """
    try:
        with opened(manifest, "rb") as file:
            lines = file.read().split(b"\n")
    except OSError:
        return manifest
    summed = b"".join([line + b"\n" for line in lines[:-2]])
    if len(lines) < 3 or lines[-2] != b"# " + hexlify(sha256(summed).digest()):
        return manifest
    for line in lines[:-2]:
        name = line[_DIGITS + 2 :].decode()
        if _sum(opened, name) != line[:_DIGITS]:
            return name
    return ""


def _sum(opened: "Callable[..., BinaryIO]", name: str) -> bytes:
    """SHA-256 of a file in hexadecimal; empty if it cannot be read."""
    total = sha256()
    try:
        with opened(name, "rb") as file:
            data = file.read(_AT_ONCE)
            while data:
                total.update(data)
                data = file.read(_AT_ONCE)
    except OSError:
        return b""
    return hexlify(total.digest())


def hold(name: str, code: int, received: "BinaryIO", sent: "BinaryIO") -> None:
    """Answer every line with the error `code` and the name of the damaged file, until a program begins to copy files."""
    text = '{"jsonrpc": "2.0", "id": 0, "error": {"code": %d, "message": "%s"}}' % (code, name)
    answer = ("%s %08x\n" % (text, crc32(text.encode()) & 0xFFFFFFFF)).encode()
    byte = received.read(1)
    while byte and byte != _INTERRUPT:
        if byte == b"\n":
            sent.write(answer)
        byte = received.read(1)
