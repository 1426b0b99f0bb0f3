"""Practice that no table covers: force and its measuring, faces and grooves, neighbouring welds, their order."""

from __future__ import annotations

import math

from gen.joint import FORCE_WITHIN, Joint
from gen.quantities import METRIC, Measures
from gen.ranges import Figure, shown

COMMON = "common practice, no source"
STEEL_OHM_M = 1.4e-7  # low-carbon steel at 20 degC, from memory; hotter is more
MORE_SPACING = 1.3  # for three sheets: notes of the handbook table
NOTES = 'notes of "Recommended practices for spot welding low-carbon steel"'
# Of the table's force: no caution within (common practice, no source).
FORCE_LOW, FORCE_HIGH = 0.7, 1.4

_MEASURED = {
    "gauge": "by a gauge between the electrodes",
    "spring": "by a spring",
    "lever": "calculated from a lever",
    None: "how it was measured is not known, so taken as calculated from a lever",
}

HIGHER_TAP = "a higher tap"
LOWER_TAP = "a lower tap"


def helps(joint: Joint) -> tuple[str, ...]:
    """Ways to more current, or more of its heat, in the joint."""
    face = "a smaller electrode face, which makes a smaller weld" if joint.sheets_mm else "a groove of the rod's radius"
    if joint.groove_radius_mm is not None:
        face = "a narrower groove, so long as the rod still beds in it"
    return (
        HIGHER_TAP,
        "shorter arms and electrodes, and no steel in the throat",
        "bright, clean metal",
        face,
    )


def given_force(joint: Joint, measures: Measures = METRIC) -> Figure | None:
    """The joint's force as a range, by the uncertainty of its measuring; None where it is not given."""
    if joint.force is None or joint.force_N is None:
        return None
    within = 100 * FORCE_WITHIN[joint.force_measured or "lever"]
    source = (
        f"{measures.force(joint.force_N)} given; {_MEASURED[joint.force_measured]}: within {within:.0f} % ({COMMON})"
    )
    return Figure(*joint.force, "N", source)


def force_cautions(joint: Joint, table: Figure, measures: Measures) -> tuple[str, ...]:
    """Cautions where the given force is, or may be, far from the table's, and where its measuring is uncertain."""
    given = given_force(joint)
    if given is None or joint.force_N is None:
        return ()
    low_N, high_N = given.low, given.high
    here = f"{measures.force(joint.force_N)} ({_MEASURED[joint.force_measured]}: {measures.text(given)})"
    wanted = measures.text(table)
    found = []
    for below, sure, maybe, then in (
        (True, high_N < FORCE_LOW * table.low, low_N < FORCE_LOW * table.low, "expect expulsion in the first cycles; begin "
         "with less time or fewer percent"),
        (False, low_N > FORCE_HIGH * table.high, high_N > FORCE_HIGH * table.high, "less heat in the contact; expect to need "
         "more time or current"),
    ):  # fmt: skip
        if sure:
            found.append(f"{here} is far from the table's {wanted}: {then}")
        elif maybe:
            found.append(f"{here} may be far {'below' if below else 'above'} the table's {wanted}; if it is: {then}")
    if joint.force_measured in ("lever", None):
        found.append(
            f"a force calculated from the lever is within {100 * FORCE_WITHIN['lever']:.0f} % at best ({COMMON}): it leaves out "
            "friction and differences of the hand from weld to weld. Contact heat, expulsion, setdown and strength are as "
            "uncertain, and the weld time may lie outside its range. Measure the force with a gauge or a spring"
        )
    return tuple(found)


def force_practice(joint: Joint, table: Figure, measures: Measures) -> tuple[str, ...]:
    """The table's force, and how to measure it, where the joint does not give its own."""
    if joint.force_N is not None:
        return ()
    worth = ", ".join(f"a {name} within {100 * within:.0f} %" for name, within in FORCE_WITHIN.items())
    wanted = measures.text(table)
    return (f"Force: the figures hold near the table's, {wanted}. How it is measured matters ({COMMON}): {worth}.",)


def face_words(joint: Joint, measures: Measures) -> tuple[list[str], list[str]]:
    """(cautions, practice) of flat and grooved faces on rods: contact, marks, path of the current."""
    cautions, practice = [], []
    if None in joint.grooves_mm:
        cautions.append(f"a flat face marks the rod and lets it roll: a groove of the rod's radius holds it ({COMMON})")
        practice.append(
            "Flat face: it touches a rod along a line. The current crowds there, so that the contact heats, marks the rod "
            f"and wears the face, and heat meant for the crossing is made under the electrodes ({COMMON}). A groove of the "
            "rod's radius, along each rod, touches over an arc."
        )
    if any(joint.grooves_mm):
        practice.append(
            "Groove: where it fits it touches over an arc, so the current spreads into the rod, the contact stays cool and "
            "marks little, and more of the heat is made at the crossing. Each electrode needs it along its own rod "
            f"({COMMON})."
        )
    for rod_mm, radius_mm in dict.fromkeys(zip(joint.rods_mm or (), joint.grooves_mm)):
        if radius_mm is None:
            continue
        groove, rod = measures.given([radius_mm]), measures.given([rod_mm])
        if radius_mm < 0.95 * rod_mm / 2:
            cautions.append(
                f"a groove of radius {groove} is too narrow for the rod of {rod}, which rests on its two edges: "
                f"they mark the rod and heat it ({COMMON})"
            )
        elif radius_mm > 1.25 * rod_mm / 2:
            cautions.append(
                f"a groove of radius {groove} is wide for the rod of {rod}: it holds the rod, but touches it almost along a "
                f"line and marks it like a flat face ({COMMON})"
            )
    return cautions, practice


def face_cautions(joint: Joint, table_mm: float, measures: Measures) -> list[str]:
    """The caution of a flat face far from the table's diameter."""
    if joint.face_diameter_mm is None or 0.8 <= joint.face_diameter_mm / table_mm <= 1.25:
        return []
    wide = joint.face_diameter_mm > table_mm
    what = "spreads the current: expect to need more" if wide else "crowds the current: expect expulsion, begin shorter"
    face = measures.given([joint.face_diameter_mm])
    return [f"an electrode face of {face}, where the table has {measures.length(table_mm)}, {what}"]


def weld_size_rule(thin_mm: float) -> Figure:
    """The least and the wanted diameter of a weld, by the thinnest sheet."""
    root = math.sqrt(thin_mm)
    return Figure(3.5 * root, 5 * root, "mm", "3.5 sqrt t least, 5 sqrt t wanted (ISO 14373, from memory)")


def spacing_factor(joint: Joint) -> tuple[float, str]:
    """The factor on the table's spacing, which is for two sheets, for this joint, and its reason."""
    if len(joint.sheets_mm or ()) > 2:
        return MORE_SPACING, f", and 30 % more for three sheets ({NOTES})"
    return 1.0, ""


def sheet_shunting(
    joint: Joint, spacing: Figure | None, overlap: Figure | None, measures: Measures
) -> tuple[list[str], list[str]]:
    """(cautions, practice) about neighbouring welds and the edge. `spacing`, `overlap`: None where the table has none."""
    cautions, practice = [], []
    pitch = "" if joint.pitch_mm is None else measures.given([joint.pitch_mm])
    if joint.pitch_mm is not None and spacing is None:
        cautions.append(f"whether a pitch of {pitch} is enough is not known: this table has no spacing")
    elif joint.pitch_mm is not None and spacing is not None and joint.pitch_mm < spacing.low:
        cautions.append(
            f"a pitch of {pitch} is less than the table's {measures.text(spacing)}: part of the current flows through the last "
            "weld, how much is not known here. Find the time on a second weld at this pitch, not on the first"
        )
    elif joint.pitch_mm is not None and spacing is not None:
        practice.append(f"Shunting: a pitch of {pitch} is enough by the table (its least is {measures.text(spacing)}).")
    if joint.overlap_mm is not None and overlap is not None and joint.overlap_mm < overlap.low:
        cautions.append(
            f"an overlap of {measures.given([joint.overlap_mm])} is less than the table's {measures.text(overlap)}: expect "
            "expulsion at the edge"
        )
    practice.append(
        f"Order of a row ({COMMON}): from the middle outwards, so that the sheets can move and no bulge is locked between two "
        "welds; the ends last."
    )
    return cautions, practice


def setdown_practice(setdown_mm: float, measures: Measures) -> str:
    """How to measure the setdown."""
    return (
        f"Setdown ({COMMON}): measure the height of the crossing with a caliper before and after; it should be "
        f"{measures.length(setdown_mm)} less. If it is more, the weld is too hot or too long; if less, too cold."
    )


def rod_shunting(joint: Joint, delivered: Figure, measures: Measures) -> list[str]:
    """Practice for crossings welded before this one; with a pitch, the greatest shunt current through them."""
    practice = [
        f"Order of a rack ({COMMON}): from the middle outwards, the ends last. Weld the whole of one rail first: a rod with a "
        "free end makes no loop for the current. Find the time on the second rail, whose welds are colder."
    ]
    if joint.pitch_mm is None:
        return practice
    length_m = 4 * joint.pitch_mm / 1e3
    loop_ohm = STEEL_OHM_M * length_m / (math.pi / 4 * (joint.thick_mm / 1e3) ** 2)
    round_A = 0.1 / loop_ohm
    pitch = measures.given([joint.pitch_mm])
    practice.append(
        f"Shunting: no table here gives a least pitch for rods. A square mesh of {pitch} has at least "
        f"{shown(1e3 * loop_ohm)} mohm cold (steel 1.4e-7 ohm m, from memory; all of the thicker rod, our assumption), so each "
        f"0.1 V across the joint drives at most {shown(round_A)} A round it, {shown(100 * round_A / delivered.middle)} % of the "
        "current suggested."
    )
    return practice
