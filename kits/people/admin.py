"""The back office of people and roles: nobody gives more than they have, and every change is told."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

from django.contrib import admin
from django.contrib.admin.utils import unquote
from django.contrib.auth.admin import GroupAdmin, UserAdmin
from django.contrib.auth.forms import UserChangeForm
from django.contrib.auth.models import Group, Permission
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.html import format_html_join

from kits.people.actions import noting_password
from kits.people.back_office import WHY, ModelAdmin, ReadOnlyAdmin, RecordForm
from kits.people.history import Facts, facts_of
from kits.people.joining.administrators import administrators, refuse_without_administrator, stays_administrator
from kits.people.joining.errors import PeopleRefusal
from kits.people.models import PeopleChange, User
from kits.people.rights import groups_to_give, may_change, permissions_to_give
from kits.people.roles import ROLES, TRAININGS
from kits.people.writes import note_change

if TYPE_CHECKING:
    PersonChangeForm = UserChangeForm[User]
    People = UserAdmin[User]
    Roles = ModelAdmin
else:
    PersonChangeForm = UserChangeForm
    People = UserAdmin
    Roles = GroupAdmin


class PersonForm(RecordForm, PersonChangeForm):
    """A person, and why they are changed."""

    def clean(self) -> dict[str, Any]:
        """Leave the site an administrator."""
        said = super().clean() or {}
        stays = stays_administrator(
            active=said.get("is_active", self.instance.is_active),
            all_rights=said.get("is_superuser", self.instance.is_superuser),
            groups=list(said.get("groups", ())),
        )
        if self.instance.pk and not stays:
            try:
                refuse_without_administrator(self.instance, administrators())
            except PeopleRefusal as error:
                raise ValidationError(str(error)) from error
        return said


class ToldAdmin(ModelAdmin):
    """People and roles: what somebody lacks is neither given nor taken by them, and what was changed is kept."""

    object_history_template = "people/history.html"

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Whoever may do more than somebody is not changed by them."""
        allowed = super().has_change_permission(request, obj)
        return allowed and (obj is None or may_change(cast(User, request.user), obj))

    def formfield_for_manytomany(self, db_field: Any, request: HttpRequest, **kwargs: Any) -> Any:
        """Offer what somebody may give."""
        giver = cast(User, request.user)
        if db_field.related_model is Permission:
            kwargs["queryset"] = permissions_to_give(giver)
        elif db_field.related_model is Group:
            kwargs["queryset"] = groups_to_give(giver)
        return super().formfield_for_manytomany(db_field, request, **kwargs)

    def save_model(self, request: HttpRequest, obj: Any, form: Any, change: bool) -> None:
        """Store one, and remember what it was."""
        stored = self.model._default_manager.filter(pk=obj.pk).first() if change else None
        form.facts_before = facts_of(stored) if stored else {}
        super().save_model(request, obj, form, change)

    def save_related(self, request: HttpRequest, form: Any, formsets: Any, change: bool) -> None:
        """Store the rights, and keep what was changed of the whole."""
        super().save_related(request, form, formsets, change)
        self._note(request, form.instance, form.facts_before, facts_of(form.instance), form.cleaned_data)

    def history_view(
        self, request: HttpRequest, object_id: str, extra_context: dict[str, Any] | None = None
    ) -> HttpResponse:
        """What became of one, the latest first."""
        one = "person_id" if self.model is User else "role_id"
        told = PeopleChange.objects.filter(**{one: object_id if object_id.isdecimal() else None}).select_related("by")
        return super().history_view(request, object_id, {"told": told, **(extra_context or {})})

    def _note(self, request: HttpRequest, about: Any, before: Facts, after: Facts, said: dict[str, Any]) -> None:
        by, at = cast(User, request.user), timezone.now()
        note_change(about, before, after, by=by, at=at, why=said.get(WHY, ""))


@admin.register(User)
class PersonAdmin(ToldAdmin, People):
    """People: they are put to sleep and not deleted, for their name stands beside what they did."""

    form = PersonForm

    def get_readonly_fields(self, request: HttpRequest, obj: User | None = None) -> tuple[str, ...]:
        """Only who has all rights gives all rights."""
        return () if cast(User, request.user).is_superuser else ("is_superuser",)

    def get_fieldsets(self, request: HttpRequest, obj: User | None = None) -> Any:
        """The fields, and the reason where one is asked for."""
        fieldsets = super().get_fieldsets(request, obj)
        return (
            (*fieldsets, (None, {"fields": (WHY,)})) if obj and self.has_change_permission(request, obj) else fieldsets
        )

    def has_delete_permission(self, request: HttpRequest, obj: User | None = None) -> bool:
        """Nobody is deleted."""
        return False

    def user_change_password(self, request: HttpRequest, id: str, form_url: str = "") -> HttpResponse:  # noqa: A002
        """Set the password of somebody, and keep that it was done."""
        person = self.get_object(request, unquote(id))
        with noting_password(person=person, by=cast(User, request.user), at=timezone.now()):
            return super().user_change_password(request, id, form_url)


OF_THE_PRODUCT = {role.name for role in (*ROLES, *TRAININGS)}

admin.site.unregister(Group)


@admin.register(Group)
class RoleAdmin(ToldAdmin, Roles):
    """Roles: the six of the product are written anew with each migration, those of the shop are its own."""

    form = RecordForm

    def get_fields(self, request: HttpRequest, obj: Group | None = None) -> list[Any]:
        """The columns, and the reason where one is asked for."""
        return ["name", "permissions", *([WHY] if obj and self.has_change_permission(request, obj) else [])]

    def has_delete_permission(self, request: HttpRequest, obj: Group | None = None) -> bool:
        """A role of the product is not deleted, nor by anybody one that may do more than they do."""
        allowed = super().has_delete_permission(request, obj)
        return allowed and (
            obj is None or (obj.name not in OF_THE_PRODUCT and may_change(cast(User, request.user), obj))
        )

    def delete_model(self, request: HttpRequest, obj: Group) -> None:
        """Delete a role, and keep what it was."""
        self._note(request, obj, facts_of(obj), {}, {})
        super().delete_model(request, obj)

    def delete_queryset(self, request: HttpRequest, queryset: QuerySet[Group]) -> None:
        """Delete the chosen roles."""
        for role in queryset:
            self.delete_model(request, role)


@admin.register(PeopleChange)
class PeopleChangeAdmin(ReadOnlyAdmin):
    """What was changed of people and roles, the latest first."""

    list_display = ("at", "named", "what", "by", "why")
    list_select_related = ("by",)
    search_fields = ("named", "by__username", "why")
    fields = ("at", "named", "what", "by", "why")

    @admin.display(description="what was changed")
    def what(self, row: PeopleChange) -> str:
        """What, before and after, line by line."""
        lines = ((one["what"], one["before"] or "–", one["after"] or "–") for one in row.changes)
        return format_html_join("", "<div>{}: {} → {}</div>", lines)
