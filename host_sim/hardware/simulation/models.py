"""How each item of the parts list behaves in a simulation, at a corner of its tolerances.

Values are those that the data sheets guarantee, from memory where none is named; a name in MODELS
is an item of the parts list. KiCad writes resistors, capacitors and coils by themselves; all else
is a subcircuit whose ports are the pins of the symbol by number.
"""

from __future__ import annotations

from collections.abc import Mapping

from host_sim.hardware.circuit import Part

LIBRARY = "models.lib"
# Behaviour in the drawing's own simulator fields: what stands in no simulation.
LEFT_OUT = {"CONN", "BOARD", "TP", "JP"}
PLAIN = {"R": ("R", "r"), "C": ("C", "c"), "CP": ("C", "c"), "L": ("L", "l")}
LETTERS = {"p": "p", "n": "n", "u": "u", "m": "m", "k": "k", "M": "Meg", "": ""}

# Lowest, usual and highest value of what differs from part to part.
SPREADS: Mapping[str, tuple[float, float, float]] = {
    # 74HC14 on 3.3 V, between the data sheet's rows for 2.0 and 4.5 V, -40 to 85 C
    "vtp": (1.14, 1.8, 2.36),
    "vtn": (0.61, 1.1, 1.75),
    "bv_5kp33": (36.7, 38.6, 40.6),
    "bv_5kp24": (26.7, 28.1, 29.5),
    "bv_irl640": (200, 215, 230),
    "bv_pump": (150, 160, 170),
    "vth_irl640": (1.0, 1.5, 2.0),
    "vth_pump": (3.0, 4.0, 5.0),
    "leak_mos": (1e9, 1e8, 600e3),  # ohm: 250 uA at 150 V and 125 C for the hottest
    "vz_15": (14.25, 15.0, 15.75),
}
USUAL = {name: values[1] for name, values in SPREADS.items()}


def sim_fields(part: Part) -> dict[str, str]:
    """The fields that tell KiCad how a part stands in its netlist for a simulator."""
    if part.kind in LEFT_OUT or part.item not in MODELS and part.kind not in PLAIN:
        return {"Sim.Enable": "0"}
    if part.kind in PLAIN:
        device, name = PLAIN[part.kind]
        return {"Sim.Device": device, "Sim.Params": f"{name}={plain_value(part.value)}",
                "Sim.Pins": "1=+ 2=-"}  # fmt: skip
    pins = " ".join(f"{pin}={pin}" for pin in part.nets)
    return {"Sim.Library": LIBRARY, "Sim.Name": model_name(part.item), "Sim.Device": "SUBCKT",
            "Sim.Pins": pins}  # fmt: skip


def plain_value(value: str) -> str:
    """A value as a simulator reads it: "100 nF 50 V" is 100n."""
    number, *unit = value.split()
    return number + LETTERS[unit[0].rstrip("FH") if unit else ""]


def model_name(item: str) -> str:
    """The name of an item's subcircuit."""
    return "M_" + "".join(letter if letter.isalnum() else "_" for letter in item)


def diode_model(parameters: str) -> tuple[str, str]:
    """Ports and text of a diode; pin 1 is the cathode."""
    return "1 2", f"D1 2 1 DM\n.model DM D({parameters})"


def mosfet(parameters: str, order: str = "2 1 3") -> tuple[str, str]:
    """A power MOSFET; `order` names the pins that are drain, gate and source."""
    drain, gate, source = order.split()
    return "1 2 3", (f"M1 {drain} {gate} {source} VM\nRL {drain} {source} {{leak_mos}}\n"
                     f".model VM VDMOS({parameters})")


def schmitt(into: str, out: str) -> str:
    """One inverter of a 74HC14 between pins, on the supply at pin 14."""
    return (f"S{into} {out}i 7 {into} 7 SW\nR{into} 14 {out}i 100\nC{into} {out}i 7 20p\n"
            f"RO{into} {out}i {out} 50\nCI{into} {into} 7 5p\nDP{into} {into} 14 DC\n"
            f"DN{into} 7 {into} DC")


def half_bridge(into: str, out: str) -> str:
    """One half of an L298N, which loses about a volt in each transistor."""
    return (f"BH{out} {out}h 8 V = V({into},8) > 1.5 && V(9,8) > 4 ? V(4,8) : 0\n"
            f"RH{out} {out}h {out} 1.2\nRI{into} {into} 8 100k")


def gate_driver(into: str, out: str) -> str:
    """One half of a TC4427A: TTL input, 7 ohm output."""
    return (f"B{out} {out}i 3 V = V({into},3) > 1.6 && V(6,3) > 3 ? V(6,3) : 0\n"
            f"R{out} {out}i {out} 7\nRI{into} {into} 3 1Meg\nCI{into} {into} 3 10p")


def register_outputs() -> str:
    """Outputs of a 74HCT595: level `shown` on all of them, open while OE is high or unpowered.

    High is 0.4 of the supply, as the data sheet's 2 V at 5 V; below 4.5 V no sheet says more.
    """
    lines = ["BOE oe 8 V = V(13,8) < 0.4*V(16,8) && V(16,8) > 1 ? 1 : 0", ".param shown=1"]
    for pin in ("15", "1", "2", "3", "4", "5", "6", "7"):
        lines += [f"B{pin} q{pin} 8 V = V(16,8) * {{shown}}", f"S{pin} q{pin} r{pin} oe 8 SO",
                  f"R{pin} r{pin} {pin} 80", f"RL{pin} {pin} 16 1Meg"]  # fmt: skip
    for pin in ("10", "11", "12", "13", "14"):
        lines += [f"DI{pin} {pin} 16 DC", f"DJ{pin} 8 {pin} DC", f"RI{pin} {pin} 8 10Meg"]
    lines += ["RQ 16 8 100k", "R9 9 8 1Meg", ".model SO SW(vt=0.5 vh=0.1 ron=1 roff=1e9)",
              ".model DC D(is=1e-14 rs=20)"]
    return "\n".join(lines)


CLAMP = ".model DC D(is=1e-14 rs=10)"
SCHMITT_SWITCH = ".model SW SW(vt={(vtp+vtn)/2} vh={(vtp-vtn)/2} ron=1 roff=1e9)"
MODELS: dict[str, tuple[str, str]] = {
    # rectifiers; rs and n put the forward drop where the data sheets have it
    "1N5404": diode_model("is=2n n=1.7 rs=20m bv=400 cjo=50p tt=3u"),
    "1N4007": diode_model("is=7n n=1.8 rs=40m bv=1000 cjo=15p tt=3u"),
    "UF4004": diode_model("is=1n n=1.8 rs=50m bv=400 cjo=15p tt=50n"),
    "1N4148": diode_model("is=2.5n n=1.75 rs=0.6 bv=100 cjo=2p tt=5n"),
    "1N5817": diode_model("is=30u n=1.05 rs=60m bv=20 cjo=200p"),
    "SB5100": diode_model("is=20u n=1.2 rs=30m bv=100 cjo=300p"),
    "BAT85": diode_model("is=200n n=1.05 rs=3 bv=30 cjo=10p"),
    "LED": diode_model("is=1e-18 n=2 rs=5 bv=5"),
    "5KP33A": diode_model("is=1n n=1.5 rs=0.135 bv={bv_5kp33} ibv=5m cjo=2n"),
    "5KP24A": diode_model("is=1n n=1.5 rs=0.073 bv={bv_5kp24} ibv=5m cjo=3n"),
    "1N4744A": diode_model("is=1n n=1.5 rs=10 bv={vz_15} ibv=1m cjo=100p"),
    "MBR20200CT": ("1 2 3", "D1 1 2 DM\nD2 3 2 DM\n"
                   ".model DM D(is=5u n=1.3 rs=15m bv=200 cjo=300p)"),
    "IRL640": mosfet("Vto={vth_irl640} Kp=20 Rd=0.12 Rs=0.02 Rg=3 Cgs=1.6n Cgdmax=1n Cgdmin=50p "
                     "Cjo=400p Is=1p BV={bv_irl640}"),
    "IRFB4115": mosfet("Vto={vth_pump} Kp=80 Rd=6m Rs=2m Rg=2 Cgs=5n Cgdmax=1.5n Cgdmin=100p "
                       "Cjo=800p Is=10p BV={bv_pump}"),
    "BSS138": mosfet("Vto=1.2 Kp=0.2 Rd=2 Cgs=30p Is=1p BV=50", "3 1 2"),
    "BC337": ("1 2 3", "Q1 1 2 3 QM\n.model QM NPN(is=20f bf=200 rc=0.3 rb=10)"),
    "LM2576": ("1 2 3 4 5",  # on the average: 5 V, or what is left of the input, at 77 % of it
               "BO o 3 V = min(5.0, max(0, 0.95*V(1,3)-0.9))\nVS o o2 0\nRO o2 2 50m\n"
               "BI 1 3 I = V(1,3) > 4 ? max(0, I(VS))*V(o,3)/(0.77*V(1,3)) : max(0, I(VS))\n"
               "RQ 1 3 5k\nRF 4 3 2k\nRN 5 3 1Meg"),
    "74HC14": ("1 2 3 4 5 6 7 8 9 10 11 12 13 14", "\n".join(
        [schmitt(*pair) for pair in (("1", "2"), ("3", "4"), ("5", "6"), ("9", "8"),
                                     ("11", "10"), ("13", "12"))] + [SCHMITT_SWITCH, CLAMP])),
    "TC4427A": ("1 2 3 4 5 6 7 8", "\n".join(
        [gate_driver("2", "7"), gate_driver("4", "5"), "RQ 6 3 20k", "R1 1 3 1G", "R8 8 3 1G"])),
    "74HCT595": ("1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16", register_outputs()),
    "L298N": ("1 2 3 4 5 6 7 8 9 10 11 12 13 14 15", "\n".join(
        [half_bridge("5", "2"), half_bridge("7", "3"), "RQ 9 8 200", "RV 4 8 1k",
         *(f"R{pin} {pin} 8 100k" for pin in ("1", "6", "10", "11", "12", "13", "14", "15"))])),
    # coil of 90 ohm; the contact closes above 7 V and lets go below 4 V, after some ms
    "relay 30 A": ("86 85 30 87", "RC 86 x 90\nLC x 85 0.1\n"
                   "BM m 85 V = V(86,85)\nRM m n 1k\nCM n 85 3u\nS1 30 87 n 85 SR\n"
                   ".model SR SW(vt=5.5 vh=1.5 ron=5m roff=100Meg)"),
    "emergency stop": ("1 2", "R1 1 2 10m"),
    "start button": ("1 2", "R1 1 2 10m"),  # pressed
    **{f"fuse {amps} A": ("1 2", f"R1 1 2 {ohm}") for amps, ohm in
       (("0.5", "0.3"), ("1", "0.12"), ("2", "60m"), ("3", "35m"), ("10", "8m"), ("15", "5m"),
        ("25", "3m"))},
}  # fmt: skip


def library_text(corner: Mapping[str, float] = USUAL) -> str:
    """Every subcircuit at a corner of the tolerances."""
    parameters = "\n".join(f".param {name}={value:g}" for name, value in
                           {**USUAL, **corner}.items())
    parts = [f".subckt {model_name(item)} {ports}\n{text}\n.ends" for item, (ports, text)
             in MODELS.items()]  # fmt: skip
    return "* What stands for the parts of the circuit in a simulation\n" + "\n".join(
        [parameters, *parts, ""])
