"""Set up: every setting of the table, in groups; a change is taken at once or refused in words."""

from app.quantity_text import of_setting
from app.screens.edit import edit
from app.screens.parts import List
from app.screens.setting_labels import CHOICES, groups
from app.units_text import to_text
from rate_control.settings import COUNT, HIGH, LOW, row
from rate_control.settings_table import TABLE
from rate_control.settings_words import ADVICE, WORDS

UNDO = "undo last change"
TAKE_ON = "take settings on"
UNDONE = "undone: the settings before the last change are back"
LIST_VALUE = "..."


class SetUp(List):
    """The groups, undo, and what takes the settings on."""

    TITLE = "set up"

    def __init__(self, app):
        super().__init__(app)
        self._groups = groups(TABLE)

    def count(self):
        """See List."""
        return len(self._groups) + 2

    def line(self, index):
        """See List."""
        index -= len(self._groups)
        return (self._groups[index][0] if index < 0 else (UNDO, TAKE_ON)[index]), ""

    def chosen(self, index):
        """See List."""
        index -= len(self._groups)
        if index < 0:
            return Group(self.app, *self._groups[index])
        if index:
            from app.screens.take_on import TakeOn
            return TakeOn(self.app)
        return self.app.undo() or UNDONE


class Group(List):
    """The settings of one group."""

    def __init__(self, app, title, members):
        super().__init__(app)
        self.TITLE = title
        self._members = members

    def count(self):
        """See List."""
        return len(self._members)

    def line(self, index):
        """See List."""
        name, label = self._members[index]
        entry = row(name)
        if entry[COUNT] > 1:
            return label, LIST_VALUE
        return label, short(entry, getattr(self.app.controller.settings, name), self.us())

    def chosen(self, index):
        """See List."""
        name, label = self._members[index]
        entry = row(name)
        title = self.TITLE + ": " + label
        if entry[COUNT] > 1:
            return Elements(self.app, title, entry)
        return edit_setting(self.app, title, entry)


class Elements(List):
    """The numbers of a setting that is a list; of the sections, those that are fitted."""

    def __init__(self, app, title, entry):
        super().__init__(app)
        self.TITLE = title
        self._entry = entry

    def count(self):
        """See List."""
        if self._entry[0].startswith("section_"):
            return self.app.controller.settings.section_count
        return self._entry[COUNT]

    def line(self, index):
        """See List."""
        value = getattr(self.app.controller.settings, self._entry[0])[index]
        return "number %d" % (index + 1), short(self._entry, value, self.us())

    def chosen(self, index):
        """See List."""
        return edit_setting(self.app, "%s %d" % (self.TITLE, index + 1), self._entry, index)


def edit_setting(app, title, entry, index=None):
    """Return the screen that edits a setting, or one number of it."""
    name = entry[0]

    def accept(value):
        if index is not None:
            values = list(getattr(app.controller.settings, name))
            values[index] = value
            value = values
        return app.change_settings({name: value})

    value = getattr(app.controller.settings, name)
    if index is not None:
        value = value[index]
    field = (of_setting(entry), entry[LOW], entry[HIGH])
    return edit(app, title, field, value, accept, WORDS[name][ADVICE], CHOICES.get(name))


def short(entry, value, us):
    """Return a value as the list shows it, without its unit."""
    words = CHOICES.get(entry[0])
    if words:
        return words[value - entry[LOW]]
    quantity = of_setting(entry)
    return to_text(quantity, value, us) if quantity else str(value)
