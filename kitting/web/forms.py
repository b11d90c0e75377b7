"""What the forms share: the operation key, fields for scans, and a day."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from datetime import date
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict
from django.utils.html import escape
from django.utils.translation import gettext_lazy as _

from kitting.domain.errors import LotwardError, Refused
from kitting.models import User
from kitting.web.http import new_op_key
from kitting.web.messages import sentence
from kitting.web.wording import UNSAID, in_words, is_unsaid, name_of

if TYPE_CHECKING:
    from django.utils.functional import _StrOrPromise

LONGEST_SCAN = 200
"""Characters that a scan field takes; no symbol of ours holds half as many."""


class SpokenForm(forms.Form):
    """A form whose errors are sentences of our own that name the thing."""

    things: Mapping[str, _StrOrPromise] = {"reason": _("the reason")}
    """What goes into a field, as it stands in a sentence, where its label is no name of
    it: "the lit zone". Those of a form's bases count as well."""

    def __init_subclass__(cls, **kwargs: Any) -> None:
        super().__init_subclass__(**kwargs)
        bases = [vars(base).get("things", {}) for base in reversed(cls.__mro__)]
        cls.things = {name: thing for each in bases for name, thing in each.items()}

    def add_error(self, field: str | None, error: Any) -> None:
        """Note an error; one of a field is said in our own words."""
        if field in self.fields and isinstance(error, ValidationError):
            error = ValidationError([self._spoken(field, e) for e in error.error_list])
        super().add_error(field, error)

    def ask_for(self, field: str, code: str) -> None:
        """Note that a field is empty which the others call for."""
        said = self._spoken(field, ValidationError(UNSAID, "required"))
        said.code = code
        super().add_error(field, said)

    def offer(self, field: str, choices: Iterable[tuple[Any, Any]]) -> None:
        """Set what may be chosen in a field, where that is known only now."""
        self.fields[field].choices = list(choices)  # type: ignore[attr-defined]

    def _spoken(self, name: str, error: ValidationError) -> ValidationError:
        if not is_unsaid(error):
            return error
        field = self.fields[name]
        thing = str(self.things.get(name) or name_of(field, name))
        return in_words(error, field, thing, self[name].data)


class FilterForm(SpokenForm):
    """What a list is narrowed to, as it stands in the address."""

    def chosen(self) -> dict[str, Any]:
        """What is set and can be read; an odd value in the address filters nothing."""
        self.is_valid()
        return {name: value for name, value in self.cleaned_data.items() if value}


class KeyedForm(SpokenForm):
    """A form that writes: it carries the key of its act, made when it was shown."""

    op_key = forms.UUIDField(widget=forms.HiddenInput, initial=new_op_key)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        unreadable = sentence(Refused("op_key_unreadable"))
        self.fields["op_key"].error_messages = {
            "required": unreadable,
            "invalid": unreadable,
        }

    @property
    def key(self) -> UUID:
        """The operation key of a valid form."""
        key: UUID = self.cleaned_data["op_key"]
        return key

    @property
    def entries(self) -> dict[str, Any]:
        """What a valid form says, by the names under which its act takes it.

        Of a row that was chosen it is the id: of ``part`` the ``part_id``.
        """
        said: dict[str, Any] = {}
        for name, value in self.cleaned_data.items():
            if isinstance(self.fields[name], forms.ModelChoiceField):
                said[f"{name}_id"] = value.pk if value else None
            elif name not in ("op_key", *self.passwords):
                said[name] = value
        return said

    passwords: tuple[str, ...] = ("password",)
    """Fields with a password, which is compared and kept nowhere."""

    def signer(self, field: str) -> User | None:
        """Whose password a field of a valid form asks for; None for whoever acts."""
        return None


class LineForm(SpokenForm):
    """A line of a ``LinesForm``; an empty one is passed over."""

    asked: tuple[str, ...] = ()
    """Fields that a line cannot do without."""
    begun_by: tuple[str, ...] = ()
    """Others by which one is begun."""

    def clean(self) -> dict[str, Any]:
        """Ask for the rest of a line that is begun."""
        data = super().clean() or self.cleaned_data
        begun = any(data.get(name) for name in (*self.asked, *self.begun_by))
        for name in self.asked if begun else ():
            if not data.get(name) and name not in self.errors:
                self.ask_for(name, "line_incomplete")
        return data


class LinesForm(KeyedForm):
    """A form with lines below it, which are sent and judged with it.

    Args:
        data: What was sent, or None.
        *args: As for any form.
        shown: What the lines say where nothing was sent.
        **kwargs: As for any form.
    """

    line_form: type[LineForm] = LineForm
    most_lines = 40
    lines_label: _StrOrPromise = ""
    lines_help: _StrOrPromise = ""

    def __init__(
        self,
        data: Any = None,
        *args: Any,
        shown: Iterable[Mapping[str, Any]] = (),
        **kwargs: Any,
    ) -> None:
        super().__init__(data, *args, **kwargs)
        self.lines = self.line_set(self.line_form, "line", self.most_lines, shown)

    def line_set(
        self,
        line_form: type[LineForm],
        prefix: str,
        most: int,
        shown: Iterable[Mapping[str, Any]],
        room: int = 8,
    ) -> Any:
        """Make some lines of the form.

        Args:
            line_form: What one line is.
            prefix: Begins the names of their fields.
            most: How many there may be.
            shown: What they say where nothing was sent.
            room: For how many there is room the first time, later for some more.

        Returns:
            The lines.
        """
        said = list(shown)
        lines = forms.formset_factory(
            line_form, extra=max(3, room - len(said)), max_num=most, validate_max=True
        )
        found: Any = lines(
            self.data if self.is_bound else None,
            prefix=prefix,
            # What was sent is read alone: by the time that it is sent again it is on
            # record, and a line like one of that would count as untouched.
            initial=() if self.is_bound else said,
            error_messages={
                "missing_management_form": sentence(Refused("lines_gone")),
                "too_many_forms": sentence(Refused("too_many_lines", most=most)),
            },
        )
        # Each line would read the rows that it offers again.
        for name, field in found.empty_form.fields.items():
            if isinstance(field, forms.ModelChoiceField):
                choices: list[Any] = list(field.choices)  # type: ignore[arg-type]
                for line in found:
                    line.offer(name, choices)
        return found

    def is_valid(self) -> bool:
        """Whether the form and all its lines can be read."""
        return all([super().is_valid(), self.lines.is_valid()])


class SureForm(KeyedForm):
    """A form with a field for why figures are right that can hardly be.

    It stays out of sight until ``attempt`` met the question.
    """

    why = "sure"
    """The name of that field, made by ``sure_field``."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.data.get(self.why):
            self.ask_why()

    def ask_why(self) -> None:
        """Show the field."""
        self.fields[self.why].required = True
        self.fields[self.why].widget = forms.TextInput(attrs={"autocomplete": "off"})


def sure_field(**options: Any) -> forms.CharField:
    """The field of ``SureForm``."""
    return forms.CharField(
        **{"label": _("Sure? Why this is right"), **options},
        initial="",
        required=False,
        max_length=200,
        help_text=_("The record keeps it, with your name."),
        widget=forms.HiddenInput,
    )


class TwoStepForm(KeyedForm):
    """An act whose harm is large: first its figures are shown, then it is done.

    What was chosen goes along with the second step, and so does the figure that was
    shown: the act is refused where it would come to another.
    """

    pieces = forms.IntegerField(
        required=False, min_value=1, max_value=2**53, widget=forms.HiddenInput
    )

    is_asked_now = False
    """Whether this request sent the first step: it is answered, and does nothing."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.is_asking = bool(self.data.get("pieces"))
        self._password = self.fields.pop("password", None)
        if self.is_asking:
            self._settle()

    @property
    def is_ready(self) -> bool:
        """Whether the first step was sent and can be read: its figures can be shown."""
        return self.is_bound and not self.is_asking and self.is_valid()

    def ask(self, pieces: int) -> None:
        """Turn the first step, which was sent, into the second.

        Args:
            pieces: The figure that is shown.
        """
        sent: QueryDict = self.data.copy()  # type: ignore[attr-defined]
        sent["pieces"] = str(pieces)
        self.data = sent
        self.is_asking = self.is_asked_now = True
        self._settle()

    def _settle(self) -> None:
        """Let what was chosen go along unseen; a password is asked for only now."""
        for field in self.fields.values():
            field.widget = field.hidden_widget()
        if self._password is not None:
            self.fields["password"] = self._password


class NamedForm(KeyedForm):
    """An act that puts a name under something: the password is asked for again.

    Args:
        *args: As for any form.
        by: Whose password it is, as shown.
        **kwargs: As for any form.
    """

    things = {"password": _("your password")}

    password = forms.CharField(
        label=_("Your password again"),
        strip=False,
        max_length=4096,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    def __init__(self, *args: Any, by: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["password"] = last = self.fields.pop("password")
        words = _(
            "You act as %(name)s. Sign out first, then let the other person sign in."
        )
        last.help_text = escape(words % {"name": by})


class ScanField(forms.CharField):
    """One scanned or typed code; a separator (0x1D) at its ends is not stripped."""

    kind = "scan"

    def __init__(self, **options: Any) -> None:
        attrs = {
            "data-scan": "",
            "autocomplete": "off",
            "spellcheck": "false",
            "autocapitalize": "characters",
        }
        options = {"max_length": LONGEST_SCAN, "strip": False, **options}
        options.setdefault("widget", forms.TextInput(attrs=attrs))
        super().__init__(**options)


class NamedField(ScanField):
    """A number of something on record; what is read is what was found, or None.

    Args:
        find: Finds it by its number; what it refuses stands at the field.
        **options: As for ``ScanField``.
    """

    def __init__(self, find: Callable[[str], object], **options: Any) -> None:
        self.find = find
        super().__init__(**{"required": False, **options})

    def clean(self, value: Any) -> Any:
        """Find it."""
        text = str(super().clean(value))
        if not text.strip():
            return None
        try:
            return self.find(text)
        except LotwardError as error:
            raise ValidationError(sentence(error), code=error.code) from error


FIRST_DAY, LAST_DAY = date(2000, 1, 1), date(2999, 12, 31)
_DAY = re.compile(
    "([0-9]{4})(?:([0-9]{2})([0-9]{2})|[-/. ]([0-9]{1,2})[-/. ]([0-9]{1,2}))"
)


class DayField(forms.DateField):
    """A day as year, month, day: YYYY-MM-DD, or its eight digits alone.

    A browser's own field for days shows them in the order of the browser's language,
    so that one day reads as another beside it. This is a field for text, alike
    everywhere; the keys for figures that a telephone shows may have no hyphen.

    Days near the ends of the calendar are refused: the day after them, or their
    midnight in the workshop's zone, may not exist.
    """

    kind = "day"

    def __init__(self, **options: Any) -> None:
        attrs = {
            "data-day": "",
            "inputmode": "numeric",
            "autocomplete": "off",
            "placeholder": _("YYYY-MM-DD"),
            "size": 10,
        }
        options.setdefault("widget", forms.DateInput(format="%Y-%m-%d", attrs=attrs))
        super().__init__(input_formats=["%Y-%m-%d"], **options)

    def to_python(self, value: Any) -> date | None:
        """Read the day, with whatever stands between year, month and day."""
        if isinstance(value, str) and (value := value.strip()):
            found = _DAY.fullmatch(value)
            # What is no day in this order is none: 01.03.2026 is not guessed at.
            parts = [part for part in found.groups() if part] if found else []
            value = "-".join(parts) or "no day"
        day = super().to_python(value)
        if day is not None and not FIRST_DAY <= day <= LAST_DAY:
            raise ValidationError(UNSAID, "out_of_range")
        return day
