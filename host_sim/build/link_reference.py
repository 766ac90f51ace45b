"""The reference page of the link, made from the tables of the firmware."""

from __future__ import annotations

import json
from typing import Any

from app import link_requests, run_log_page, telemetry
from app.link import CHUNK
from app.link_frame import MAX_BODY, MAX_RECORD, SEQUENCE_MASK, record
from host_sim.board import link_port
from host_sim.board.link_words import ERRORS, REQUESTS
from rate_control.interlock import STATE_NAMES
from rate_control.units import TICK_MS

HEAD = f"""\
# The link

Made from `firmware/app/link_requests.py`, `link_frame.py` and `telemetry.py` by `make docs`; do
not edit it here.

A computer asks the controller, and the controller answers and streams, over USB serial or a UART
({link_port.BAUD} baud, 8 data bits, no parity, 1 stop bit). The twin speaks the same over a pipe
in memory. On the host: `host_sim/board/link_client.py`; to record: `python -m host_sim record`.

## A record

Everything in both directions is a record: one line of printable ASCII, ended by a newline.

    1 17 {{"do": "hello"}} DBFC

| part | what it is |
|---|---|
| `1` | version of the link |
| `17` | sequence number of the sender, 0 to {SEQUENCE_MASK}, one more with every new record |
| `{{"do": "hello"}}` | body, a JSON object, at most {MAX_BODY} characters |
| `DBFC` | CRC-16/CCITT-FALSE of everything before the last space, four upper-case hex digits |

One space between the parts, none anywhere else outside the body. A record has at most
{MAX_RECORD} bytes with its newline; all settings at their widest fit. The checksum has the
polynomial 0x1021, starts at 0xFFFF and is neither reflected nor inverted; that of `123456789` is
29B1 ([catalogue of parametrised CRC algorithms](https://reveng.sourceforge.io/crc-catalogue/16.htm),
CRC-16/IBM-3740). It finds every error in up to 16 neighbouring bits; of anything worse it lets
one in 65536 through, and then the body must still be a permitted request.

Why JSON: it can be read on a terminal, every language has it, and MicroPython parses it in C.
Requests are seldom, so the memory that takes is given back at leisure. Telemetry is not made by
way of JSON: its digits are written straight into a buffer, and a record allocates nothing.

## Asking

A body with `do` is a request; its other members are the arguments. The answer names the request
in `answer` and its sequence number in `to`.

{{example}}
A request that got no answer may be sent again unchanged, sequence number included: the
controller recognises the last request it has answered, answers it again in the same words and
does not do it twice. So every request is done at most once, whatever the line loses. A new
client begins with a sequence number by chance.

A record without `do` is passed over in silence, so that an echo, or two controllers on one
line, do not talk to each other for ever. So is an empty line.

Every request that is understood but not done, and every line that is no record, gets an error
record and changes nothing.

"""

REQUESTS_HEAD = """\
## Requests

"at rest" is every state in which outputs are off: parked, ready, fault. Numbers are whole, in
the unit that their name ends in.

| request | arguments | answered | what it does |
|---|---|---|---|
"""

ERRORS_HEAD = """\

## Errors

`error` holds one of these words, `problems` says in words what is wrong where there is more to
say, and `to` is the sequence number of the request, or `null` where the line gave none.

| word | meaning |
|---|---|
"""

TELEMETRY_HEAD = f"""\

## Telemetry

Off after power-up. `telemetry.set` with `every_ticks` 2 gives ten records a second, 1 one for
every tick of {TICK_MS} ms. A record is `{{"telemetry": [...]}}` with these numbers in this order,
which `hello` also gives; read them by name, for a later version may have more.

While a record is on its way out the next one waits; after {telemetry.PATIENCE} ticks it is
dropped, and `dropped` counts it. Answers are never dropped. Distance and volume are running
sums, so a record that is lost takes nothing with it. Sums, counts and times wrap at 2^30; a
volume that wraps (1073 L) between two records is the one thing that a long gap can hide.

| number | meaning |
|---|---|
"""

MEANINGS = {
    "tick": "ticks since power-up, wrapping",
    "dropped": "records left out since power-up, because the line was too slow",
    "rate_ml_ha": "rate asked for",
    "now_us": "time of the tick, wrapping at 2^30",
    "switches": "debounced: bit 0 master, 1 implement down, 2 and up the sections",
    "speed_mm_s": "ground speed",
    "speed_valid": "1 while its source, pulses or receiver, is believed",
    "distance_sum_mm": "way since power-up, wrapping",
    "flow_ul_s": "flow at the meter",
    "flow_valid": "1 while enough pulses come to believe it",
    "volume_sum_ul": "metered volume since power-up, wrapping",
    "supply_mv": "supply, 0 where it is not measured",
    "state": "operating state: " + ", ".join(f"{i} {s}" for i, s in enumerate(STATE_NAMES)),
    "permits": "permits that are there (bits in firmware/rate_control/interlock.py)",
    "faults": "active faults (bits in firmware/rate_control/faults.py)",
    "section_mask": "sections that may be open",
    "width_mm": "their width",
    "target_ul_s": "flow that the rate asks for",
    "expected_ul_s": "what the meter should read now",
    "command_ul_s": "target, corrected by the loop",
    "coasting": "1 while the loop is open, because the meter cannot be read",
    "saturated": "1 the machine can give no more, -1 no less",
    "trim_q20": "correction of the loop, 2^20 is one",
    "duty_u16": "duty of the pump",
    "valve_pulse_ms": "pulse to the regulating valve, + opens",
    "demand_u16": "what the actuator is asked for, a duty or a position",
    "position_u16": "where the regulating valve is thought to be",
}

# a way that a request could take towards a moving machine, what stands in it
WAYS = (
    ("switch the master on, the implement down, a section on",
     "no request writes an input; they are read from the pins in every tick"),
    ("arm after power-up, a fault or a change of settings",
     "the interlock alone does, when it has seen the master switch off; no request reaches "
     "it"),
    ("ask for the bench, set a bench speed or a duty",
     "no such request, and the operations behind want the confirmation"),
    ("begin a procedure that drives",
     "`procedure.begin` only prepares it; it waits for a push at the machine"),
    ("lead on a procedure that drives",
     "`procedure.act` refuses those; `procedure.stop` only ends them"),
    ("send the confirmation along",
     "unknown arguments are refused"),
    ("change settings, undo, keep a proposal, choose the regulation, clear totals",
     "at rest only; after a change of settings the master switch must be seen off, then on"),
    ("clear a fault",
     "no such request: the master switch does"),
    ("keep the controller busy",
     f"one request a poll, {CHUNK} bytes a poll; the tick interrupts all of it, and the "
     f"watchdog is fed by whole ticks only"),
    ("wear out or lock up the flash",
     "no request writes to it; the store writes what changed, at rest, once a second at "
     "most"),
    ("lines that are no records",
     "answered with an error record or passed over; a hundred thousand of them change "
     "nothing (tests/host/firmware/test_link_fuzz.py)"),
)

TAIL = f"""\

## Run log

A line for each run, kept on the board: from the first tick that applies until outputs have been
off for a second; and one with `notes` where something was done at the start with what another
firmware had kept. `log.read` gives up to {run_log_page.PAGE} from a number on; ask again from
the last number plus one until there are none. The newest sixty to eighty are kept.
`on_target_permille` is the share of its ticks in which the measured flow was within a tenth of the
target.

## What it can never do

The link calls the same operations as the operator interface, without the confirmation that only
a push at the machine gives. Every way that a request could take towards a moving machine, and
what stands in it (tests/host/firmware/test_link_security.py):

| way | what stands in it |
|---|---|
{{ways}}
What it can do to a machine that is applying: `rate.set` changes how much, within the permitted
range, as the operator's encoder does. Whoever holds the line can do that.

Whoever holds the line is trusted: there is no password. Do not put the link on a radio or a
network without a guard of your own. On USB the same port also carries MicroPython's console:
Ctrl-C stops the program (the outputs go off) and gives a prompt that can do anything, load other
firmware above all. Where that matters, use a UART for the link and keep the USB socket shut.
"""


def link_page() -> str:
    """The page of the link."""
    return (
        HEAD.replace("{example}", _example())
        + REQUESTS_HEAD + "".join(_request(row) for row in link_requests.TABLE)
        + ERRORS_HEAD + "".join(f"| `{word}` | {words} |\n" for word, words in ERRORS.items())
        + TELEMETRY_HEAD + "".join(_number(name) for name in telemetry.NAMES)
        + TAIL.replace("{ways}", "".join(f"| {way} | {guard} |\n" for way, guard in WAYS))
    )


def _number(name: str) -> str:
    return f"| `{name}` | {MEANINGS[name]} |\n"


def _request(row: Any) -> str:
    name, states, arguments, _ = row
    meaning, words = REQUESTS[name]
    listed = "<br>".join(
        f"`{argument}` ({kind}{'' if needed else ', may be left out'}): {words[argument]}"
        for argument, kind, needed in arguments)
    answered = {link_requests.ALWAYS: "always", link_requests.AT_REST: "at rest"}[states]
    return f"| `{name}` | {listed} | {answered} | {meaning} |\n"


def _example() -> str:
    """A request, its answer, and a request that is refused with its answer."""
    bodies = (
        (17, {"do": "settings.get", "names": ["section_count"]}),
        (402, {"values": {"section_count": 3}, "answer": "settings.get", "to": 17}),
        (18, {"do": "rate.set", "rate_ml_ha": 5}),
        (403, {"error": "refused", "problems": ["must be 1000 to 5000000, is 5"], "to": 18}),
    )
    lines = (record(number, json.dumps(body).encode()).decode() for number, body in bodies)
    return "".join(f"    {line}" for line in lines)
