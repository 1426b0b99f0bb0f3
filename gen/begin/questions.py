"""The questions about the user's own machine, each with its purpose, where to find the answer, and the value without one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from gen.ask import Inquiry, NotTaken, NumberedChoice, plain, value_of
from gen.boards import boards
from gen.machine.tables import Arms, Breaker, Detector, Mains, OneElectrode, Protection, Switch, Transformer
from gen.quantities import NoQuantity, measure, parts
from gen.user_files import written

# Supply: volts between the conductors that feed the machine, frequency, volts from one of them to earth.
SUPPLIES = {
    "120 V": (120, 60, 120),
    "208 V": (208, 60, 120),
    "240 V split phase": (240, 60, 120),
    "230 V": (230, 50, 230),
    "400 V": (400, 50, 230),
}
OTHER = "other"
_IEC, _UL = "IEC 60898-1", "UL 489"
LARGEST_CORE_MM = 1000.0
MOST_TURNS = 5000.0
LARGEST_WIRE_MM = 20.0


def breaker_of(text: Any) -> dict[str, Any]:
    """Reads the marking of a breaker: C20 (IEC 60898-1), UL 20, or 20 A without a letter."""
    bare = str(text).upper().replace("UL489", "UL").replace("UL 489", "UL").replace("AMPS", "A").strip()
    standard = _UL if bare.startswith("UL") else _IEC if bare[:1] in ("B", "C", "D") else OTHER
    letter = bare[0] if standard == _IEC else None
    try:
        rating_A = value_of(Breaker, "rating_A")(bare.removeprefix("UL")[1 if letter else 0 :].strip())
    except NotTaken:
        allowed = (
            "the letter and amperes printed on it, such as C20; UL 20 for a North American one; other 20 for any other"
        )
        raise NotTaken(written(text), allowed) from None
    return {"standard": standard, "characteristic": letter, "rating_A": rating_A}


def other_breaker_of(text: Any) -> dict[str, Any]:
    """Reads the marking of a breaker as `breaker_of` does, and `other 20`."""
    rest = str(text).strip()
    if rest.lower().startswith(OTHER):
        rest = rest[len(OTHER) :]
    return breaker_of(rest)


def band_of(text: Any) -> tuple[float, float]:
    """Reads the two ends of an instantaneous band in amperes: `120 to 240` or `120-240`."""
    least, most = _two(str(text).replace(" to ", ",").replace("-", ","), "A", 1.0, 5000.0, "such as 120 to 240 A")
    return least, most


def core_of(text: Any) -> tuple[float, float]:
    """Reads width and stack of a core in mm: `50x70`."""
    return _two(str(text), "mm", 5.0, LARGEST_CORE_MM, "such as 50x70 (mm)")


def volts_of(text: Any) -> tuple[float, ...]:
    """Reads the open volts of each tap, the lowest first."""
    typed = parts(str(text)) if any(c in str(text) for c in ",;") else str(text).split()
    read = value_of(Transformer, "open_secondary_V")
    volts = tuple(float(read(part)) for part in typed)
    if len(volts) < 2 or any(high <= low for low, high in zip(volts, volts[1:])):
        raise NotTaken(written(text), "the volts of two taps or more, the lowest first, such as 1.8 2.1 2.4")
    return volts


def board_of(text: Any) -> str:
    """Reads the name of a board that can weld."""
    names = [name for name, board in boards().items() if board.welds]
    found = next((name for name in names if plain(name) == plain(str(text))), None)
    if found is None:
        raise NotTaken(written(text), ", ".join(names))
    return found


def _two(text: str, unit: str, least: float, most: float, example: str) -> tuple[float, float]:
    try:
        found = [measure(part, unit) for part in parts(text)]
    except NoQuantity:
        found = []
    if len(found) != 2 or not all(least <= value <= most for value in found):
        raise NotTaken(written(text), f"two numbers from {least:g} to {most:g}, {example}")
    return found[0], found[1]


def _within(unit: str, least: float, most: float, example: str) -> Callable[[Any], float]:
    def read(text: Any) -> float:
        hint = ""
        try:
            value = measure(str(text), unit)
        except NoQuantity as error:
            value, hint = float("nan"), f"; {error}" if str(error) else ""
        if not least <= value <= most:
            raise NotTaken(written(text), f"a number from {least:g} to {most:g}, {example}{hint}")
        return value

    return read


_YES_NO = (NumberedChoice(True, "yes"), NumberedChoice(False, "no"))

SUPPLY = Inquiry(
    "supply", "Supply", "What does the machine plug into?",
    "every current follows from it, and the frequency sets the length of a half-cycle.",
    "the machine's plate, or the electrician who looks after the outlet.",
    "230 V, 50 Hz",
    (
        NumberedChoice("120 V", "120 V, 60 Hz: a North American outlet"),
        NumberedChoice("240 V split phase", "240 V, 60 Hz: two hot conductors of a North American house"),
        NumberedChoice("208 V", "208 V, 60 Hz: two phases of a 120/208 V building"),
        NumberedChoice("230 V", "230 V, 50 Hz: phase and neutral"),
        NumberedChoice("400 V", "400 V, 50 Hz: two phases"),
        NumberedChoice(OTHER, "another supply: volts and hertz are asked for"),
    ),
)  # fmt: skip
VOLTAGE = Inquiry(
    "voltage", "Mains voltage, V", "How many volts are between the two conductors that feed the machine?",
    "every current follows from it.", "the plate; or have a competent person measure it.", "230 V",
    read=value_of(Mains, "voltage_V"),
)  # fmt: skip
FREQUENCY = Inquiry(
    "frequency", "Mains frequency, Hz", "What is the mains frequency?",
    "it sets the length of a half-cycle.", "the plate, or the supplier's bill.", "50 Hz",
    (NumberedChoice(50, "50 Hz"), NumberedChoice(60, "60 Hz")), read=value_of(Mains, "frequency_Hz"),
)  # fmt: skip
TO_EARTH = Inquiry(
    "voltage_to_earth", "From a conductor to earth, V", "How many volts are from one of these conductors to earth?",
    "the limit of the earth fault loop follows from it.", "ask the electrician who looks after the outlet.",
    "the least that a supply of this voltage can have",
    read=value_of(Mains, "voltage_to_earth_V"),
)  # fmt: skip
BREAKER = Inquiry(
    "breaker", "Circuit breaker", "Which circuit breaker feeds the outlet?",
    "whether it holds when the machine starts, and at your pace.",
    "the print on the breaker, in the breaker panel. Type it as it is: C20, or UL 20.",
    "none named, so it is not judged",
    (
        NumberedChoice("IEC", "one with a letter B, C or D before its amperes (IEC 60898-1)"),
        NumberedChoice("UL", "a North American one, amperes on its handle (UL 489)"),
        NumberedChoice("fuse", "a fuse, or any other"),
    ),
    read=other_breaker_of,
)  # fmt: skip
BREAKER_MARKING = Inquiry(
    "breaker_marking", "Its marking", "What is printed on it?",
    "the letter is its instantaneous band, the number its amperes.",
    "the front of the breaker, or its handle: C20, or 20.", "none named",
    read=other_breaker_of,
)  # fmt: skip
BREAKER_BAND = Inquiry(
    "breaker_band", "Its instantaneous band, A", "From how many amperes to how many does it trip at once?",
    "UL 489 leaves this band to the maker; without it, whether the start trips the breaker is not known.",
    "its maker's trip curve for this type, where the curve falls straight down: 120 to 240, for instance.",
    "left out: the check `breaker` stays a caution",
    read=band_of,
)  # fmt: skip
PLATE = Inquiry(
    "plate", "Rating plate", "Has the machine a rating plate that gives a power?",
    "the transformer's duty is judged by it.",
    "on the machine's back or side: kVA, often with a duty of 50 %.",
    "no plate: the power is calculated from the core, the wire and the mass",
    _YES_NO,
)  # fmt: skip
RATING = Inquiry(
    "rating_kva", "Power on the plate, kVA", "How many kVA does the plate give?",
    "the transformer's continuous power.", "the plate. A peak or short-circuit figure is no rating.",
    "one typical of an outlet of this voltage",
    read=value_of(Transformer, "rating_kVA"),
)  # fmt: skip
DUTY = Inquiry(
    "rating_duty", "Duty of that power, %", "For what duty is that power?",
    "a power counts only with its duty.", "next to the power: 50 %, ED 50 %, X = 50 %, or continuous.",
    "50 %, the trade's custom",
    (NumberedChoice(50, "50 %"), NumberedChoice(100, "continuous: 100 %")), read=value_of(Transformer, "rating_duty_percent"),
)  # fmt: skip
CORE = Inquiry(
    "core", "Core, mm", "How wide and how thick is the iron inside the coil?",
    "volts a turn, and from them the power, follow from its section.",
    "isolate first. Use a tape: width of the limb inside the coil, and thickness of the stack: 50x70 (mm), or 2inx3in.",
    "left out", read=core_of,
)  # fmt: skip
WIRE = Inquiry(
    "wire", "Primary wire, mm", "How thick is the wire of the primary winding, bare?",
    "its continuous current.",
    "a caliper on the wire at a terminal, less its varnish; or a gauge: 12 swg, 10 awg.",
    "left out", read=_within("mm", 0.2, LARGEST_WIRE_MM, "such as 2.5 (mm) or 12 swg"),
)  # fmt: skip
TURNS = Inquiry(
    "turns", "Primary turns", "How many turns has the primary winding, on the tap with the fewest?",
    "volts a turn, and so the core's flux.",
    "count them where they can be seen: turns a layer times layers. The volts at the open electrodes serve as well.",
    "left out", read=_within("mm", 20, MOST_TURNS, "such as 96"),
)  # fmt: skip
MASS = Inquiry(
    "mass", "Transformer's mass, kg", "How heavy is the transformer alone?",
    "how long it may weld before it is hot, and the inrush of its core.",
    "a scale under the transformer; or the machine's weight less case and arms.", "left out",
    read=value_of(Transformer, "mass_kg"),
)  # fmt: skip
TAPPED = Inquiry(
    "tapped", "Tap switch", "Has it a tap switch (a heat switch)?",
    "each tap gives another current.", "a knob or links with numbers on the primary side.", "none",
    _YES_NO,
)  # fmt: skip
TAP_VOLTS = Inquiry(
    "tap_volts", "Taps, V", "How many volts are at the open electrodes on each tap, the lowest first?",
    "the secondary current of each tap.",
    "a voltmeter across the open electrodes, machine on, nothing between them; one figure a tap: 1.8 2.1 2.4.",
    "left out: secondary currents stay unknown", read=volts_of,
)  # fmt: skip
TAP = Inquiry(
    "tap", "Tap in use", "Which tap will you weld on?",
    "everything is calculated for it.", "1 is the lowest.", "the highest", read=str,
)  # fmt: skip
OPEN_VOLTS = Inquiry(
    "open_secondary", "At the open electrodes, V", "How many volts are at the open electrodes?",
    "the secondary current, and with it every suggestion for a joint.",
    "a voltmeter across the open electrodes, machine on, nothing between them: 1 to 6 V.",
    "left out: secondary currents stay unknown", read=value_of(Transformer, "open_secondary_V"),
)  # fmt: skip
WORKING = Inquiry(
    "working_current", "Working current, primary, A", "How many amperes flow in the primary while it welds?",
    "duty, breaker, switch and supply are judged by it.",
    "a clamp meter with hold on one supply conductor, electrodes on scrap.",
    "typical of the rating, judged at its upper end", read=value_of(Transformer, "working_current_A"),
)  # fmt: skip
WORKING_TAP = Inquiry(
    "working_tap", "Read on", "On which tap was that read?",
    "a current belongs to its tap.", "1 is the lowest.", "the tap in use", read=str,
)  # fmt: skip
SHORTED = Inquiry(
    "shorted_current", "Shorted current, primary, A", "How many amperes flow with the electrodes pressed together?",
    "the machine's own impedance, which narrows every range.",
    "the same clamp meter, in a short weld with nothing between; `weldbeat commission` measures it later with the timer.",
    "left out", read=value_of(Transformer, "shorted_current_A"),
)  # fmt: skip
SHORTED_TAP = Inquiry(
    "shorted_tap", "Read on", "On which tap was that read?",
    "a current belongs to its tap.", "1 is the lowest.", "the tap in use", read=str,
)  # fmt: skip
ARM_LENGTH = Inquiry(
    "arm_length", "Arms' length, mm", "How long are the arms, from the transformer to the electrodes?",
    "the loop's impedance; and to compare other electrodes.", "a tape, along one arm.", "left out",
    read=value_of(Arms, "length_mm"),
)  # fmt: skip
THROAT = Inquiry(
    "throat", "Gap between the arms, mm", "How wide is the gap between the arms?",
    "the loop's impedance, and whether electrodes fit.", "a tape, from one arm to the other.", "left out",
    read=value_of(Arms, "throat_mm"),
)  # fmt: skip
ARM_DIAMETER = Inquiry(
    "arm_diameter", "Arms' thickness, mm", "How thick are the arms (round copper)?",
    "the loop's resistance.", "a caliper; of a flat bar, the diameter of a round one of the same section.", "left out",
    read=value_of(Arms, "diameter_mm"),
)  # fmt: skip
STEEL = Inquiry(
    "steel_in_throat", "Steel in the throat", "Does steel lie between the arms during a weld (a frame, a jig, large work)?",
    "steel there raises the reactance and lowers the current.", "look along the arms.", "none", _YES_NO,
)  # fmt: skip
DIAMETER = Inquiry(
    "electrode_diameter", "Electrodes' thickness, mm", "How thick are the electrodes?",
    "their resistance and heat.", "a caliper.", "left out: their heat is not judged",
    read=value_of(OneElectrode, "diameter_mm"),
)  # fmt: skip
LENGTH = Inquiry(
    "electrode_length", "Electrodes' length, mm", "How far does one electrode stand out of its holder?",
    "its resistance, and how heat leaves its face.", "a tape.", "left out: their heat is not judged",
    read=value_of(OneElectrode, "length_mm"),
)  # fmt: skip
_SHAPES = (NumberedChoice("flat", "a flat face"), NumberedChoice("groove", "a groove for a rod"))
SHAPE = Inquiry(
    "electrode_shape", "What touches the work", "What touches the work?",
    "how hot the face gets, and how rods are marked.", "look at the face.", "a face of half the thickness", _SHAPES,
)  # fmt: skip
FACE = Inquiry(
    "face", "Face, mm", "How wide is the flat face?", "how hot it gets.", "a caliper.", "half the thickness",
    read=value_of(OneElectrode, "face_diameter_mm"),
)  # fmt: skip
GROOVE = Inquiry(
    "groove", "Groove's radius, mm", "What is the radius of the groove, across the face?",
    "whether the rod beds in it.", "half the diameter of the rod that it was cut for.", "half the thickness",
    read=value_of(OneElectrode, "groove_radius_mm"),
)  # fmt: skip
_ALLOYS = (
    NumberedChoice("Cu-ETP", "plain copper"),
    NumberedChoice("CuCr1", "chromium copper"),
    NumberedChoice("CuCr1Zr", "chromium-zirconium copper"),
)
ALLOY = Inquiry(
    "alloy", "Electrodes' metal", "What are the electrodes made of?",
    "how soon their faces soften.", "the supplier's label; plain copper bar is Cu-ETP.", "plain copper", _ALLOYS,
)  # fmt: skip
ALIKE = Inquiry(
    "alike", "Both electrodes alike", "Is the lower electrode like the upper one?",
    "each is judged by itself.", "compare thickness, length and face.", "alike", _YES_NO,
)  # fmt: skip
SWITCH = Inquiry(
    "switch", "Switch", "What switches the primary?",
    "it must turn on at any phase of the mains, or the core saturates.",
    "its data sheet. A contactor or a pedal switch alone is not one of these: plan a pair of thyristors.",
    "a pair of thyristors, to be chosen with `weldbeat choose`",
    (
        NumberedChoice("scr_pair", "two thyristors back to back"),
        NumberedChoice("triac", "a triac"),
        NumberedChoice("random_phase_relay", "a solid-state relay, random turn-on"),
        NumberedChoice("zero_cross_relay", "a solid-state relay, zero-cross: it will be refused"),
    ),
)  # fmt: skip
SWITCH_CURRENT = Inquiry(
    "switch_current", "Its rated current, A", "What is its rated current?",
    "whether it carries the weld.", "its data sheet, or the print on it: RMS amperes.", "left out: not judged",
    read=value_of(Switch, "rated_current_A"),
)  # fmt: skip
DETECTOR = Inquiry(
    "detector", "Zero-crossing detector", "Which zero-crossing detector does the board read?",
    "each gate is timed from its edges.",
    "you will most likely build the one that `weldbeat wiring` draws.",
    "the one drawn, square",
    (
        NumberedChoice("square", "the one that `weldbeat wiring` draws: high through the positive half-cycle"),
        NumberedChoice("pulse", "the other one that it draws: a pulse at each crossing"),
        NumberedChoice("own square", "my own, square, with measured offsets"),
        NumberedChoice("own pulse", "my own, a pulse at each crossing, with a measured offset"),
    ),
)  # fmt: skip
OFFSET_RISE = Inquiry(
    "offset_rise", "Offset of the rising edge, us", "How late is its rising edge after the true crossing?",
    "the firing is timed from it.", "a scope with an isolated probe: microseconds, negative where it is early.",
    "of the detector that is drawn", read=value_of(Detector, "offset_rise_us"),
)  # fmt: skip
OFFSET_FALL = Inquiry(
    "offset_fall", "Offset of the falling edge, us", "How late is its falling edge?",
    "the firing is timed from it.", "the same scope: microseconds, negative where it is early.",
    "of the detector that is drawn", read=value_of(Detector, "offset_fall_us"),
)  # fmt: skip
FORCE = Inquiry(
    "force", "Force", "What presses the electrodes together?",
    "by hand or foot, letting go ends the weld at once; by air a weld runs to its end.", "the machine.",
    "a foot lever",
    (
        NumberedChoice("hand", "a hand"), NumberedChoice("foot_lever", "a foot on a lever"),
        NumberedChoice("air", "compressed air"),
    ),
)  # fmt: skip
FORCE_SWITCH = Inquiry(
    "force_switch", "Force switch", "Does a switch close when the air presses at full force?",
    "where the air fails, it ends the weld. Nothing is built for air without one.",
    "a pressure switch at the cylinder, with a contact to the board.", "none", _YES_NO,
)  # fmt: skip
GATE_DRIVE = Inquiry(
    "gate_drive", "Gate drive", "What ends the gate current by itself if the board's pin stays high?",
    "a frozen board must not keep the current on. Nothing is built before this is named.",
    "`weldbeat wiring` draws a one-shot. It must end within 12 ms whatever the pin does.",
    "nothing: the pin alone",
    (
        NumberedChoice("one_shot", "a one-shot between pin and gate driver"),
        NumberedChoice("pulse_transformer", "a pulse transformer"),
        NumberedChoice("capacitor", "a capacitor in series"),
        NumberedChoice("direct", "nothing: the pin drives the gate"),
    ),
)  # fmt: skip
_FITTED_WORDS = {
    "isolator": "an isolator or plug that you open, and can lock",
    "contactor": "a contactor that drops when the board's pulses end",
    "stop_cuts_gate_supply": "a stop button that cuts the gate supply",
    "stop_cuts_contactor": "a stop button that cuts the contactor's coil",
    "over_temperature_contact": "an over-temperature contact on the transformer that cuts both",
    "mirror_contact": "a mirror contact of the contactor, wired to the board",
    "secondary_earthed": "the secondary earthed at one point",
    "residual_current_device": "a residual-current device (GFCI) before the machine",
}
FITTED_KEYS = tuple(key for key, field in Protection.model_fields.items() if field.annotation is bool)
FITTED = Inquiry(
    "fitted", "Protections", "Which of these are there, and work without the board?",
    "they end a faulty weld. What is not named counts as missing, and nothing is built while `weldbeat next` still "
    "names one to fit.",
    "the machine, or the parts that you will fit before its first weld. Several: numbers with commas; none: 0.",
    "none",
    tuple(NumberedChoice(key, _FITTED_WORDS[key]) for key in FITTED_KEYS), many=True,
)  # fmt: skip
RESIDUAL = Inquiry(
    "residual_current", "Its residual current, mA", "At how many milliamperes does the residual-current device trip?",
    "the limit of the earth fault loop follows from it.", "printed on it: 30 mA, 5 mA of a GFCI.", "30 mA",
    read=value_of(Protection, "residual_current_mA"),
)  # fmt: skip
BOARD = Inquiry(
    "board", "Timer board", "Which board will time the weld?",
    "pins, and how finely it can time.", "`weldbeat boards` describes each.", "a Raspberry Pi Pico",
    read=board_of,
)  # fmt: skip

CURRENT = Inquiry(
    "current_transformer", "Current transformer", "Will a current transformer on the primary tell the board its current?",
    "each weld is then measured, held against its plan, and may correct the next. It can be added later.",
    "one small part around a supply conductor, which `weldbeat choose` works out; its burden stays on it.", "none", _YES_NO,
)  # fmt: skip


def lower(inquiry: Inquiry, text: str) -> Inquiry:
    """The same question about the lower electrode."""
    return replace(
        inquiry, key=f"lower_{inquiry.key}", label=f"Lower: {inquiry.label[:1].lower()}{inquiry.label[1:]}", text=text
    )


LOWER = (
    lower(DIAMETER, "How thick is the lower electrode?"),
    lower(LENGTH, "How far does the lower one stand out of its holder?"),
    lower(SHAPE, "Which face of the lower one touches the work?"),
    lower(FACE, "How wide is its flat face?"),
    lower(GROOVE, "What is the radius of its groove?"),
    lower(ALLOY, "What is the lower one made of?"),
)
WRITE = Inquiry(
    "write", "Summary", "Is this your machine? 1 writes the files; a number changes that answer.", "", "", ""
)
# In the order of asking. The answers decide which of them apply.
INQUIRIES = (
    SUPPLY, VOLTAGE, FREQUENCY, TO_EARTH, BREAKER, BREAKER_MARKING, BREAKER_BAND,
    PLATE, RATING, DUTY, CORE, WIRE, TURNS, MASS, TAPPED, TAP_VOLTS, TAP, OPEN_VOLTS,
    WORKING, WORKING_TAP, SHORTED, SHORTED_TAP,
    ARM_LENGTH, THROAT, ARM_DIAMETER, STEEL, DIAMETER, LENGTH, SHAPE, FACE, GROOVE, ALLOY, ALIKE, *LOWER,
    SWITCH, SWITCH_CURRENT, DETECTOR, OFFSET_RISE, OFFSET_FALL, FORCE, FORCE_SWITCH, GATE_DRIVE, FITTED, RESIDUAL, BOARD,
    CURRENT,
)  # fmt: skip
