"""The error that ended the program, kept in a file over the restart that follows. Nothing here is called while armed."""

TYPE_CHECKING = False
if TYPE_CHECKING:
    from interface import Driver

FILE = "failure"
MOST_LETTERS = 80


def keep(driver: "Driver", error: BaseException) -> None:
    """Store the text of an error for the next start. Raises nothing, so that the restart always follows."""
    try:
        text = plain("%s: %s" % (type(error).__name__, error)).encode()
        if driver.read_file(FILE) != text:  # an error at every start must not wear out the flash
            driver.write_file(FILE, text)
    except BaseException:
        pass


def kept(driver: "Driver") -> str:
    """The text of the error that ended an earlier run and is not yet acknowledged; "" for none."""
    data = driver.read_file(FILE)
    return plain("".join([chr(byte) for byte in data])) if data else ""


def forget(driver: "Driver") -> None:
    """Delete the error: it was acknowledged."""
    driver.write_file(FILE, b"")


def plain(text: str) -> str:
    """The text in a form safe within JSON: printable ASCII without quotes, and short."""
    letters = [letter if " " <= letter <= "~" and letter not in '"\\' else "?" for letter in text[:MOST_LETTERS]]
    return "".join(letters)
