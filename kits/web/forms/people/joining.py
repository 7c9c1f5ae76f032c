"""The forms about people: who they are, what they are in the shop, and the password that they choose by a link."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib.auth.models import Group
from django.contrib.auth.password_validation import validate_password
from django.contrib.auth.validators import UnicodeUsernameValidator
from django.core.exceptions import ValidationError

from kits.people.models import User
from kits.web.request_keys import KeyForm

WHY_SAYS = {"required": "Write why: it stands in the history beside your name."}
NEW_PASSWORD = forms.PasswordInput(attrs={"autocomplete": "new-password"})


if TYPE_CHECKING:
    ManyGroups = forms.ModelMultipleChoiceField[Group]
else:
    ManyGroups = forms.ModelMultipleChoiceField


class GroupsField(ManyGroups):
    """What somebody is in the shop: at least one thing."""

    def __init__(self) -> None:
        super().__init__(
            Group.objects.none(),
            widget=forms.CheckboxSelectMultiple,
            error_messages={
                "required": "Tick what they are in the shop.",
                "invalid_choice": "That is nothing you can make somebody.",
            },
        )


class GroupsForm(KeyForm):
    """What somebody is in the shop, and whether the back office is open to them."""

    groups = GroupsField()
    office = forms.BooleanField(required=False)

    def __init__(self, choices: Sequence[Group], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["groups"]
        field.queryset = Group.objects.filter(pk__in=[group.pk for group in choices])
        field.choices = [(group.pk, group.name) for group in choices]


class RolesForm(GroupsForm):
    """The same, changed, and why."""

    why = forms.CharField(max_length=500, error_messages=WHY_SAYS)


class NewPersonForm(GroupsForm):
    """Somebody new."""

    name = forms.CharField(
        max_length=150,
        validators=[UnicodeUsernameValidator(message="A name to sign in has letters, digits and @ . + - _ only.")],
        widget=forms.TextInput(attrs={"autocomplete": "username", "autocapitalize": "none", "spellcheck": "false"}),
        error_messages={"required": "Write the name by which they sign in, such as a.reed."},
    )
    first_name = forms.CharField(required=False, max_length=150)
    last_name = forms.CharField(required=False, max_length=150)
    email = forms.EmailField(
        required=False,
        widget=forms.EmailInput(attrs={"autocomplete": "off"}),
        error_messages={"invalid": "This is no address of e-mail: correct it, or leave it blank."},
    )
    password = forms.CharField(required=False, strip=False, widget=NEW_PASSWORD)

    def clean(self) -> dict[str, Any]:
        """A password, where one is given, that is not easily guessed."""
        said = super().clean() or {}
        if password := said.get("password"):
            names = {field: said.get(field, "") for field in ("first_name", "last_name", "email")}
            try:
                validate_password(password, User(username=said.get("name", ""), **names))
            except ValidationError as error:
                self.add_error("password", error)
        return said


class WhyForm(KeyForm):
    """Why something is done to somebody."""

    why = forms.CharField(max_length=500, error_messages=WHY_SAYS)


class ChosenPasswordForm(forms.Form):
    """The password that somebody chooses who came by a link."""

    new_password = forms.CharField(label="Your password, 10 characters or more", strip=False, widget=NEW_PASSWORD)
    password_again = forms.CharField(label="The same again", strip=False, widget=NEW_PASSWORD)

    def __init__(self, person: User, *args: Any) -> None:
        super().__init__(*args)
        self.person = person
        self.fields["new_password"].widget.attrs["autofocus"] = True

    def clean_new_password(self) -> str:
        """The password, if it is one that is not easily guessed."""
        typed = str(self.cleaned_data["new_password"])
        validate_password(typed, self.person)
        return typed

    def clean_password_again(self) -> str:
        """The password once more."""
        typed = str(self.cleaned_data["password_again"])
        if typed != self.data.get("new_password"):
            raise ValidationError("The two differ: write your password twice alike.")
        return typed
