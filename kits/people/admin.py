from __future__ import annotations

from django.contrib import admin
from django.contrib.auth.admin import UserAdmin

from kits.people.models import User

admin.site.register(User, UserAdmin)
