"""What tests/vm/memory_budget.py needs besides the firmware."""


class Anything:
    """Stands in for the modules of a chip while the board's modules are loaded."""

    def __getattr__(self, _):
        return self

    def __call__(self, *_, **__):
        return self

    def __or__(self, _):
        return self


class NoGarbage:
    """Stands in for gc."""

    def collect(self):
        pass

    def mem_free(self):
        pass


class Nothing:
    """An empty flash, a link on which nothing arrives, a bus that takes everything."""

    def read(self, *_):
        return b""

    def write(self, *data):
        return len(data[-1])

    append = writeto = write


class Silence:
    """A GNSS receiver that says nothing."""

    def any(self):
        return 0


class BareBoard:
    """A board without pins; app.start_up builds the application above it.

    With card it is wired for one.
    """

    card = False

    def now_us(self):
        return 0

    def reset_cause(self):
        return "power"

    def files(self):
        return Nothing()

    def retained(self):
        return None

    def gnss_stream(self):
        return Silence()

    def can_port(self):
        from boards.can_port import SharedCanPort

        return SharedCanPort(Nothing(), Nothing(), Nothing(), 8)

    def card_port(self):
        if not self.card:
            return None
        from boards.card_port import SharedCardPort

        return SharedCardPort(Nothing(), Nothing(), Nothing())

    def link_stream(self):
        return Nothing()

    def display(self):
        from app.displays.hd44780 import Hd44780

        return Hd44780(Nothing(), lambda ms: None)

    def read_keys(self, raw):
        pass

    def signal(self, lamp, buzzer):
        pass

    def make_safe(self):
        pass
