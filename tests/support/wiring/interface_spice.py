"""The same trials by ngspice: one draw of the parts written as a netlist, run by `ngspice -b`, its voltages read back.

Shares no line with gen's own solver: the equations are ngspice's own (diodes, MOSFETs of level 1, transistors of Gummel
and Poon), but for comparator and coupler, which are written out here.
"""

from __future__ import annotations

import subprocess
from pathlib import Path

import numpy as np

from gen.wiring.interface import Component
from gen.wiring.interface.spread import Draws
from tests.support.wiring.interface_trials import StageTrial

_EMISSION = {"signal diode": 1.8, "rectifier diode": 1.8, "Schottky diode": 1.05, "phototriac coupler": 2.0}


def by_ngspice(trial: StageTrial, draws: Draws, draw: int, folder: Path) -> dict[str, float]:
    """The figures of one draw."""
    one = {key: values[[min(draw, len(values) - 1)]] for key, values in draws.items()}
    (folder / "stage.cir").write_text(written(trial, one, folder / "out.txt"))
    done = subprocess.run(
        ["ngspice", "-b", "stage.cir"], cwd=folder, capture_output=True, text=True, timeout=120, check=False
    )
    assert (folder / "out.txt").exists(), done.stdout[-2000:] + done.stderr[-2000:]
    table = np.loadtxt(folder / "out.txt", ndmin=2)
    (folder / "out.txt").unlink()
    times = table[:, 0]
    assert times[-1] >= trial.times[-1] * 0.999, done.stderr[-2000:]
    curves = {net: table[:, 2 * n + 1][:, None] for n, net in enumerate(trial.nets)}
    return {name: float(value[0]) for name, value in trial.figures(times, curves, one).items()}


def written(trial: StageTrial, draws: Draws, out: Path) -> str:
    """The netlist's text."""
    cards = [line for part in trial.components for line in _cards(part, draws)]
    for n, (net, shape) in enumerate(trial.shapes.items()):
        volts = float(draws[f"{net}.volts"][0])
        if isinstance(shape, float):
            cards.append(f"VS{n} {_node(net)} 0 SIN(0 {volts:.9g} {shape:g})")
        elif len(shape) == 1:
            cards.append(f"VS{n} {_node(net)} 0 DC {volts * shape[0][1]:.9g}")
        else:
            points = " ".join(f"{when:.9g} {volts * level:.9g}" for when, level in shape)
            cards.append(f"VS{n} {_node(net)} 0 PWL({points})")
    end = float(trial.times[-1])
    longest = float(np.median(np.diff(trial.times[len(trial.times) // 2 :])))  # as fine as our own where it counts
    saved = " ".join(f"v({_node(net)})" for net in trial.nets)
    body = "\n".join(cards)
    return f"""stage
{body}
.options reltol=1e-4 abstol=1e-10 vntol=1e-6 gmin=1e-11 itl1=1000 itl4=200
.control
tran {longest:.3g} {end:.9g} 0 {longest:.3g}
wrdata {out.name} {saved}
quit
.endc
.end
"""


def _node(net: str) -> str:
    return "0" if net == "0V" else f"n{net.lower()}"


def _cards(part: Component, draws: Draws) -> list[str]:
    """What a part is to ngspice."""

    def drawn(key: str) -> float:
        return float(draws[f"{part.name}.{key}"][0])

    name, pins = part.name.lower(), {pin: _node(net) for pin, net in part.pins if net}
    value = float(draws[f"{part.name}.value"][0]) if f"{part.name}.value" in draws else part.value
    match part.generic:
        case "resistor":
            return [f"R{name} {pins['1']} {pins['2']} {value:.9g}"]
        case "film capacitor" | "ceramic capacitor":
            return [f"C{name} {pins['1']} {pins['2']} {value:.9g}"]
        case "signal diode" | "rectifier diode" | "Schottky diode" | "phototriac coupler":
            return [
                f"D{name} {pins['A']} {pins['K']} m{name}",
                f".model m{name} D(IS={drawn('saturation_A'):.6g} N={_EMISSION[part.generic]})",
            ]
        case "Zener diode":  # forwards a diode; backwards another behind its voltage, which passes 1 mA at it
            volts = float(value or 0) - 0.05 * np.log(1e9)
            return [
                f"D{name}f {pins['A']} {pins['K']} m{name}f",
                f".model m{name}f D(IS=1e-12 N=1)",
                f"D{name}r {pins['K']} x{name} m{name}r",
                f".model m{name}r D(IS=1e-12 N={0.05 / 0.025865:.6g})",
                f"V{name} x{name} {pins['A']} DC {volts:.9g}",
            ]
        case "N-MOSFET" | "P-MOSFET":
            sign, kind = (1, "NMOS") if part.generic == "N-MOSFET" else (-1, "PMOS")
            return [
                f"M{name} {pins['D']} {pins['G']} {pins['S']} {pins['S']} m{name} W=1u L=1u",
                f".model m{name} {kind}(LEVEL=1 VTO={sign * drawn('threshold_V'):.6g} KP={drawn('slope_A_per_V2'):.6g})",
            ]
        case "PNP transistor" | "NPN transistor":
            return [
                f"Q{name} {pins['C']} {pins['B']} {pins['E']} m{name}",
                f".model m{name} {part.generic[:3]}(IS={drawn('saturation_A'):.6g} BF={drawn('gain'):.6g} BR=1)",
            ]
        case "dual comparator":
            found = []
            for half, (out, minus, plus) in enumerate((("1", "2", "3"), ("7", "6", "5"))):
                if out not in pins:
                    continue
                steer = f"tanh((V({pins[minus]})-V({pins[plus]})+{drawn('offset_V'):.6g})/0.002)"
                found += [
                    f"B{name}{half} {pins[out]} 0 I=V({pins[out]})*0.5*(1+{steer})/60",
                    f"I{name}{half}m 0 {pins[minus]} DC {drawn('bias_A'):.6g}",
                    f"I{name}{half}p 0 {pins[plus]} DC {drawn('bias_A'):.6g}",
                ]
            return found
        case "coupler" | "two-way coupler":
            one, other = (pins["A"], pins["K"]) if part.generic == "coupler" else (pins["1"], pins["2"])
            ways = [(one, other)] if part.generic == "coupler" else [(one, other), (other, one)]
            found = [f"R{name} l{name} 0 1", f"C{name} l{name} 0 {drawn('lag_s'):.6g}"]
            for n, (a, k) in enumerate(ways):
                found += [
                    f"V{name}{n} {a} a{name}{n} DC 0",
                    f"D{name}{n} a{name}{n} {k} m{name}",
                    f"F{name}{n} 0 l{name} V{name}{n} {drawn('transfer'):.6g}",
                ]
            c, e = pins["C"], pins["E"]
            return [
                *found,
                f".model m{name} D(IS={drawn('saturation_A'):.6g} N=2)",
                f"B{name} {c} {e} I=V(l{name})*(1-exp(-max(V({c},{e}),-0.15)/0.15))",
            ]
    raise AssertionError(f"{part.name}: a {part.generic} is not written for ngspice")
