"""Records that must change nothing: malformed, mutated, refused, out of state. MicroPython-safe.

Each maker takes a Random and returns a line; MAKERS names them.
"""

import json

from app.link_frame import MAX_BODY, MAX_RECORD, FrameError, crc16, parse, record
from app.link_requests import A_KIND, A_NAME, A_NEEDED, ARGUMENTS, NAME, STATES, TABLE

# What each kind of argument is not; every one of them is wrong for every kind but its own.
WRONG = {
    "count": (None, True, -1, 1.5, "7", [], {}, [1], 1 << 30, 10**25, -(10**25)),
    "text": (None, False, 0, -3.25, [], {}, ["x"], 10**25),
    "texts": (None, True, 0, "x", {}, [1], [None], [["x"]], ["a", 2]),
    "object": (None, True, 0, 2.5, "x", [], [1, 2], "{}"),
}
# Arguments of the right form that are refused whatever the state.
REFUSED = (
    ("telemetry.set", "every_ticks", (201, 1000, (1 << 30) - 1)),
    ("rate.set", "rate_ml_ha", (0, 1, 999, (1 << 30) - 1)),
    ("regulation.set", "regulation", ("", "open", "CLOSED_LOOP", "closed_loop ", "x" * 200)),
    ("settings.get", "names", (["x"], [""], ["rate_ml_ha", "nothing"], ["a"] * 50)),
    ("settings.set", "values", (
        {"x": 1}, {"": 1}, {"section_count": 0}, {"section_count": 9}, {"section_count": "2"},
        {"section_count": None}, {"section_count": [2]}, {"section_count": 2.0},
        {"section_count": True}, {"section_width_mm": 5}, {"section_width_mm": [1] * 8},
        {"section_width_mm": [1000] * 7}, {"section_width_mm": [20000] * 8,
                                           "section_count": 8},
        {"section_width_mm": [[1000]] * 8}, {"curve_flow_ul_s": [9] * 9},
        {"rate_ml_ha": 5000, "settling_time_ms": 1}, {"rate_ml_ha": 10**20},
        {"rate_ml_ha": -5000}, {"rate_ml_ha": {"a": 1}},
    )),
    ("procedure.begin", "procedure", ("", "arm", "bench", "start", "COURSE", "course\n")),
    ("procedure.act", "action", ("", "start", "arm", "stop", "__init__", "finish")),
)
QUERIES = ("hello", "status", "faults.get", "settings.get", "procedure.get", "procedure.facts",
           "totals.get", "log.read")
NAMES_TRIED = ("arm", "start", "bench", "bench.enter", "master", "request", "exec", "eval",
               "__class__", "hello ", "HELLO", "settings", "settings.set.all", "\n", "\x00", "")


class Random:
    """The same numbers on every interpreter; the period, 2**64, is longer than any run.

    Multiplier and increment: D. E. Knuth, MMIX (cited from memory).
    """

    def __init__(self, seed):
        self._state = seed

    def next(self):
        """Return the next number, 0 to 2**31 - 1: the upper bits, which are the good ones."""
        self._state = (self._state * 6364136223846793005 + 1442695040888963407) & (1 << 64) - 1
        return self._state >> 33


def _number(random, limit):
    return random.next() % limit


def _pick(random, things):
    return things[_number(random, len(things))]


def _bytes(random, length):
    return bytes([_number(random, 256) for _ in range(length)])


def _framed(text):
    return text + b" %04X\n" % crc16(text, len(text))


def _body(random, body):
    return record(_number(random, 65536), json.dumps(body).encode())


def _right_arguments(entry):
    rights = {"count": 1, "text": "course", "texts": ["rate_ml_ha"],
              "object": {"settling_time_ms": 3000}}
    return {argument[A_NAME]: rights[argument[A_KIND]] for argument in entry[ARGUMENTS]
            if argument[A_NEEDED]}


def _request(entry, arguments):
    request = {"do": entry[NAME]}
    request.update(arguments)
    return request


def spoilt(random):
    """A right record with some bytes changed, removed or put in."""
    entry = _pick(random, TABLE)
    line = bytearray(_body(random, _request(entry, _right_arguments(entry))))
    while True:
        for _ in range(1 + _number(random, 4)):
            place = _number(random, len(line) - 1)
            change = _number(random, 3)
            if change == 0:
                line[place] ^= 1 << _number(random, 8)
            elif change == 1:
                line[place : place + 1 + _number(random, 5)] = b""
            else:
                line[place:place] = _bytes(random, 1 + _number(random, 4))
            if len(line) < 2:
                line.extend(b"?\n")
        if all(_is_no_record(piece) for piece in bytes(line).split(b"\n")):
            return bytes(line)


def _is_no_record(line):
    try:
        parse(line)
    except FrameError:
        return True
    return False


def rubbish(random):
    """Bytes of any kind, some with a line end among them."""
    return _bytes(random, _number(random, 120)) + b"\n"


def overlong(random):
    """A line longer than a record."""
    return b"1 1 {" + b"x" * (MAX_RECORD + _number(random, 400)) + b"}\n"


def other_form(random):
    """A right checksum around something that is no record."""
    return _framed(_pick(random, (
        b"", b" ", b"1", b"1 ", b"1 5", b"1 5 ", b"2 5 {}", b"0 5 {}", b"01 5 {}", b"-1 5 {}",
        b"1 -5 {}", b"1 65536 {}", b"1 99999999999 {}", b"1 0x5 {}", b"1 5 \xff\xfe",
        b"1 5 {\"do\": \"hello\x00\"}", b"1\t5\t{}", b"A" * 200)))


def other_json(random):
    """A right record around JSON that asks for nothing, or around no JSON."""
    bodies = (b"", b"{", b"}", b"[]", b"[[", b"null", b"true", b"7", b"-", b"1e999", b'"do"',
              b"{}", b'{"to": 1}', b'{"answer": "hello"}', b'{"telemetry": [1, 2]}',
              b'{"error": "x", "to": null}', b'{"do" "hello"', b"{'do': 'hello'}", b"\\u0000",
              b"[" * 30, b"{\"a\":" * 30, b'"\\ud800"', b"nul", b"{1: 2}", b"0" * 300,
              b'{"Do": "hello"}', b'["do", "hello"]', b"9" * (MAX_BODY - 10))
    return record(_number(random, 65536), _pick(random, bodies))


def unknown(random):
    """A request that does not exist."""
    names = NAMES_TRIED + (None, 0, True, 2.5, [], {}, ["hello"], {"do": "hello"}, "x" * 500)
    return _body(random, {"do": _pick(random, names), "value": _number(random, 1 << 20)})


def wrong_arguments(random):
    """A request with an argument of a wrong kind, missing, or that it does not have."""
    entry = _pick(random, TABLE)
    arguments = _right_arguments(entry)
    if entry[ARGUMENTS] and _number(random, 3):
        argument = _pick(random, entry[ARGUMENTS])
        if argument[A_NEEDED] and not _number(random, 3):
            del arguments[argument[A_NAME]]
        else:
            arguments[argument[A_NAME]] = _pick(random, WRONG[argument[A_KIND]])
    else:
        arguments[_pick(random, ("x", "", "confirmed_at_machine", "confirmed", "self", "link",
                                 "from_", "do_"))] = _pick(random, (1, True, "1", None))
    return _body(random, _request(entry, arguments))


def refused(random):
    """A request of the right form with a value that is not permitted."""
    name, argument, values = _pick(random, REFUSED)
    return _body(random, {"do": name, argument: _pick(random, values)})


def mutated_query(random):
    """A query with spoilt bytes inside a right checksum: answered or refused, it only reads."""
    body = bytearray(b'{"do": "%s"}' % _pick(random, QUERIES).encode())
    for _ in range(_number(random, 4)):
        body[_number(random, len(body))] = 32 + _number(random, 95)
    return record(_number(random, 65536), bytes(body))


OVERLONG_TURNS = 250  # one line in so many is overlong
MAKERS = (spoilt, rubbish, other_form, other_json, unknown, wrong_arguments, refused,
          mutated_query)


def out_of_state(state):
    """Return a maker of requests that this state does not permit, None where it permits all."""
    rows = [entry for entry in TABLE if not entry[STATES] >> state & 1]
    if not rows:
        return None

    def make(random):
        entry = _pick(random, rows)
        return _body(random, _request(entry, _right_arguments(entry)))

    return make


def lines(seed, count, state):
    """Yield (maker, line) count times, for a controller in an operating state."""
    random = Random(seed)
    makers = list(MAKERS)
    late = out_of_state(state)
    if late:
        makers.append(late)
    for number in range(count):
        make = makers[number % len(makers)] if number % OVERLONG_TURNS else overlong
        yield make, make(random)


def whole_state(thing, seen):
    """Return everything that can be reached from a thing as nested lists of numbers and texts."""
    if thing is None or isinstance(thing, (bool, int, float, str, bytes)):
        return thing
    if id(thing) in seen:
        return "again"
    seen[id(thing)] = thing
    if isinstance(thing, dict):
        return sorted([(str(key), whole_state(thing[key], seen)) for key in thing], key=str)
    if isinstance(thing, (list, tuple, bytearray)):
        return [whole_state(item, seen) for item in thing]
    if hasattr(thing, "__dict__") and not isinstance(thing, type):
        return whole_state(dict(thing.__dict__), seen)
    return type(thing).__name__
