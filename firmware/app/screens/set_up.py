"""Set up: every setting of the table, in groups; a change is taken at once or refused in words."""

from app.quantity_text import choices, of_setting
from app.screens.base import List
from app.screens.edit import edit
from app.units_text import to_text
from rate_control.settings import COUNT, HIGH, LOW, TABLE
from rate_control.settings_words import ADVICE, GROUP, LABEL, WORDS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from typing import Any

    from app.application import Application
    from app.screens.screen import Screen

UNDO = "undo last change"
TAKE_ON = "take settings on"
UNDONE = "undone: the settings before the last change are back"
LIST_VALUE = "..."


class SetUp(List):
    """The groups, undo, and what takes the settings on."""

    TITLE = "set up"

    def __init__(self, app: "Application") -> None:
        super().__init__(app)
        self._groups = groups()

    def count(self) -> int:
        """See List."""
        return len(self._groups) + (2 if self.app.learning is None else 3)

    def line(self, index: int) -> tuple[str, str]:
        """See List."""
        index -= len(self._groups)
        if index > 1:
            return self.app.learning.line()  # type: ignore[union-attr]  # see count()
        return (self._groups[index] if index < 0 else (UNDO, TAKE_ON)[index]), ""

    def chosen(self, index: int) -> "Screen | str | list[str] | None":
        """See List."""
        index -= len(self._groups)
        if index < 0:
            return Group(self.app, self._groups[index])
        if index > 1:
            return self.app.learning.undo()  # type: ignore[union-attr]  # see count()
        if index:
            from app.screens.take_on import TakeOn
            return TakeOn(self.app)
        return self.app.undo() or UNDONE


class Group(List):
    """The settings of one group."""

    def __init__(self, app: "Application", title: str) -> None:
        super().__init__(app)
        self.TITLE = title
        self._members = [index for index in range(len(WORDS)) if WORDS[index][GROUP] == title]

    def count(self) -> int:
        """See List."""
        return len(self._members)

    def line(self, index: int) -> tuple[str, str]:
        """See List."""
        index = self._members[index]
        entry = TABLE[index]
        label = WORDS[index][LABEL]
        if entry[COUNT] > 1:
            return label, LIST_VALUE
        return label, short(entry, getattr(self.app.controller.settings, entry[0]), self.us())

    def chosen(self, index: int) -> "Screen | str | list[str] | None":
        """See List."""
        index = self._members[index]
        entry = TABLE[index]
        title = self.TITLE + ": " + WORDS[index][LABEL]
        advice = WORDS[index][ADVICE]
        if entry[COUNT] > 1:
            return Elements(self.app, title, entry, advice)
        return edit_setting(self.app, title, entry, advice)


class Elements(List):
    """The numbers of a setting that is a list; of the sections, those that are fitted."""

    def __init__(self, app: "Application", title: str, entry: tuple, advice: str) -> None:
        super().__init__(app)
        self.TITLE = title
        self._entry = entry
        self._advice = advice

    def count(self) -> int:
        """See List."""
        if self._entry[0].startswith("section_"):
            return self.app.controller.settings.section_count
        return self._entry[COUNT]

    def line(self, index: int) -> tuple[str, str]:
        """See List."""
        value = getattr(self.app.controller.settings, self._entry[0])[index]
        return "number %d" % (index + 1), short(self._entry, value, self.us())

    def chosen(self, index: int) -> "Screen | str | list[str] | None":
        """See List."""
        title = "%s %d" % (self.TITLE, index + 1)
        return edit_setting(self.app, title, self._entry, self._advice, index)


def groups() -> list[str]:
    """Return the names of the groups, in the order of the table."""
    found = []
    for words in WORDS:
        if words[GROUP] and words[GROUP] not in found:
            found.append(words[GROUP])
    return found


def edit_setting(
    app: "Application", title: str, entry: tuple, advice: str, index: int | None = None
) -> "Screen":
    """Return the screen that edits a setting, or one number of it."""
    name = entry[0]

    def accept(value: "Any") -> list[str]:
        if index is not None:
            values = list(getattr(app.controller.settings, name))
            values[index] = value
            value = values
        return app.change_settings({name: value})

    value = getattr(app.controller.settings, name)
    if index is not None:
        value = value[index]
    field = (of_setting(entry), entry[LOW], entry[HIGH])
    return edit(app, title, field, value, accept, advice, choices(entry))


def short(entry: tuple, value: int, us: int) -> str:
    """Return a value as the list shows it, without its unit."""
    words = choices(entry)
    if words:
        return words[value - entry[LOW]]
    quantity = of_setting(entry)
    return to_text(quantity, value, us) if quantity else str(value)
