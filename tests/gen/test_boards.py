"""The boards' files: what each pin does at boot, what may be chosen, and that one more needs nothing but its file.

Sources: RP2040 and RP2350 data sheets (memory map, bank 0 of the pins); the pin list of the pyboard in MicroPython.
"""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest

from gen.boards import SWITCHING, Board, board_from, boards
from gen.errors import InputError
from gen.firmware import render
from gen.user_files import Wrong
from tests.support.machines import compiled, make_welder

EVERY = list(boards().values())
PHASE = {"weld": "6 cycles", "current_percent": 80}


@pytest.mark.parametrize("board", EVERY, ids=lambda board: board.name)
def test_no_gate_or_contactor_moves_at_boot(board: Board) -> None:
    """Neither the pin taken nor one that may take its place."""
    for role in SWITCHING:
        for gpio in board.roles[role]:
            assert str(gpio) not in board.at_boot.moves
        assert not board.pins[role].moves_at_boot


@pytest.mark.parametrize("board", EVERY, ids=lambda board: board.name)
def test_every_choice_of_a_pin_can_be_made(board: Board) -> None:
    """What is offered is taken, reaches the pin, and leaves the first choice as an alternative."""
    for role, pin in board.pins.items():
        for gpio in pin.alternatives:
            chosen = board.with_pins({role: gpio}).pins[role]
            assert chosen.gpio == gpio
            assert pin.gpio in chosen.alternatives
            assert chosen.header == board.header[str(gpio)]


def test_pins_that_cannot_be() -> None:
    """One that the radio has, one that the boot loader drives, and two roles on one."""
    with pytest.raises(Wrong, match=r"moves while the board starts .the radio's power., which would switch on"):
        boards()["pico_w"].with_pins({"gate": 23})
    with pytest.raises(Wrong, match=r"moves while the board starts .*USART3"):
        boards()["pyboard"].with_pins({"contactor": "B10"})
    pico = boards()["pico"]
    crossed = pico.model_copy(update={"roles": pico.roles | {"detector": (6, 4)}})
    with pytest.raises(Wrong, match="is the pin of gate; allowed: each pin once"):
        crossed.with_pins({"detector": 4})
    with pytest.raises(Wrong, match="unknown key; allowed: stop, pedal"):
        pico.with_pins({"lamp": 4})


def test_the_pedal_s_pin_follows_that_of_the_stop_where_the_pio_looks_at_both() -> None:
    """IN takes pins that follow one another (RP2040 data sheet, chapter 3): whichever is chosen, the other goes with it."""
    for board in EVERY:
        assert (board.follows == {"pedal": "stop"}) == (board.family == "rp2")
    pico = boards()["pico"]
    for chosen, stop in (({"stop": 16, "detector": 6}, 16), ({"pedal": 21}, 20), ({"stop": 20, "pedal": 21}, 20)):
        pins = pico.with_pins(dict(chosen)).pins
        assert (pins["stop"].gpio, pins["pedal"].gpio) == (stop, stop + 1)
    with pytest.raises(Wrong, match=r"allowed: 17, the pin after that of stop \(16\)"):
        pico.with_pins({"stop": 16, "pedal": 3})


def test_no_two_contacts_that_interrupt_share_a_line_on_the_pyboard() -> None:
    """The lines of the interrupt controller are the pins' numbers (RM0090, chapter 12): of any choice no two may be one."""
    roles = boards()["pyboard"].roles
    for stop, pedal, detector in itertools.product(roles["stop"], roles["pedal"], roles["detector"]):
        lines = {str(pin)[1:] for pin in (stop, pedal, detector)}
        assert len(lines) == 3, (stop, pedal, detector)


def test_physical_pins_of_the_picos() -> None:
    """The header of the Pico, by its data sheet: GP0 pin 1, GP15 pin 20, GP16 pin 21, GP22 pin 29, GP26 pin 31, GP28 pin 34."""
    for name in ("pico", "pico_w", "pico2", "pico2_w"):
        header = boards()[name].header
        assert [header[gpio] for gpio in ("0", "15", "16", "22", "26", "28")] == ["1", "20", "21", "29", "31", "34"]
        assert not {"23", "24", "25", "29"} & header.keys()
        assert not {"3", "8", "13", "18", "23", "28", "33", "38"} & set(header.values())  # ground


def test_the_registers_are_the_chips_own() -> None:
    """RP2040 data sheet: WATCHDOG at 0x40058000; RP2350: 0x400d8000; SCRATCH0 at offset 0x0c of both.

    ADC at 0x4004c000 and DREQ 36; RP2350: 0x400a0000 and 48.
    """
    bases = {"RP2040": 0x40058000, "RP2350": 0x400D8000}
    converters = {"RP2040": (0x4004C000, 36), "RP2350": (0x400A0000, 48)}
    for board in EVERY:
        if board.family == "rp2":
            adc, request = converters[board.chip]
            scratch = bases[board.chip] + 0x0C
            assert board.registers == {"WATCHDOG_SCRATCH": scratch, "ADC": adc, "ADC_REQUEST": request}
            config = render(compiled(make_welder(), PHASE), make_welder(), board).files["config.py"]
            assert f"WATCHDOG_SCRATCH = {bases[board.chip] + 0x0C:#010x}" in config


def test_the_erratum_of_the_rp2350_names_the_pins_it_touches() -> None:
    """Inputs and outputs that a pull-down holds want it from outside, 8.2 kilo-ohm or less (RP2350-E9)."""
    for board in EVERY:
        named = [erratum for erratum in board.errata if erratum.name == "RP2350-E9"]
        assert bool(named) == (board.chip == "RP2350")
        for erratum in named:
            assert "8.2 kilo-ohm or less" in erratum.remedy
            assert set(erratum.roles) == {"detector", "gate", "contactor"}


def made_up() -> str:
    """The file of a board that there is not, of the rp2 family."""
    text = (Path(__file__).parents[2] / "boards" / "pico.toml").read_text(encoding="utf-8")
    for old, new in (
        ('name = "pico"', 'name = "shed"'),
        ('title = "Raspberry Pi Pico"', 'title = "Shed board (invented)"'),
        ("gate = [4, 10, 18]", "gate = [14]"),
        ("over_temperature = [8, 14]", "over_temperature = [8]"),
        ('14 = "19"', '14 = "gate"'),
    ):
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def test_a_new_board_of_a_known_family_needs_one_file(tmp_path: Path) -> None:
    """A made-up board, from its file alone to a bundle."""
    (tmp_path / "shed.toml").write_text(made_up(), encoding="utf-8")
    shed = board_from(tmp_path / "shed.toml")
    bundle = render(compiled(make_welder(), PHASE), make_welder(), shed)
    assert "\nPIN_GATE = 14\n" in bundle.files["config.py"]
    assert '\nBOARD = "shed"\n' in bundle.files["config.py"]
    assert "on Shed board (invented)." in bundle.files["main.py"]
    assert shed.pins["gate"].label == "GP14, pin gate"
    assert shed.pins["stop"] == boards()["pico"].pins["stop"]


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        ("gate = [14]", "gate = [30]", "allowed: a pin that stands in .header."),
        ("gate = [14]", "gate = [2]", "is the pin of stop"),
        ('usual = "input with pull-down"', 'usual = "input"\nmoves = {14 = "blinks"}', "moves while the board starts"),
        ("gate = [14]", "gate = []", "missing; allowed: a list of one pin or more"),
        ("gate = [14]", "barrier = [14]", "missing; allowed: a list of one pin or more"),
        ("welds = true", "welds = false", "a reason where welds is false"),
    ],
)
def test_a_board_that_cannot_be_is_not_read(old: str, new: str, why: str, tmp_path: Path) -> None:
    """Whoever writes a board's file is told at once, and not by a gate that switches on while the board starts."""
    text = made_up()
    assert text.count(old) == 1
    (tmp_path / "shed.toml").write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(InputError, match=why):
        board_from(tmp_path / "shed.toml")
