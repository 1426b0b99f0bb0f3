"""What ended the program, kept in a file through the restart that follows. Nothing here is called while armed."""

TYPE_CHECKING = False
if TYPE_CHECKING:
    from interface import Driver

FILE = "failure"
MOST_LETTERS = 80


def keep(driver: "Driver", error: BaseException) -> None:
    """Store the words of an error for the next start. Raises nothing: the restart comes whatever happens here."""
    try:
        told = plain("%s: %s" % (type(error).__name__, error)).encode()
        if driver.read_file(FILE) != told:  # an error of every start would wear out the flash
            driver.write_file(FILE, told)
    except BaseException:
        pass


def kept(driver: "Driver") -> str:
    """The words of the error that ended an earlier run and was not acknowledged; "" where there is none."""
    data = driver.read_file(FILE)
    return plain("".join([chr(byte) for byte in data])) if data else ""


def forget(driver: "Driver") -> None:
    """It was acknowledged."""
    driver.write_file(FILE, b"")


def plain(text: str) -> str:
    """As it may stand in a line of JSON: printable ASCII without quotes, and short."""
    letters = [letter if " " <= letter <= "~" and letter not in '"\\' else "?" for letter in text[:MOST_LETTERS]]
    return "".join(letters)
