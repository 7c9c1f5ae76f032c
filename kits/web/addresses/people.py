"""The addresses of people: how they come in, who they are, what their roles may do."""

from __future__ import annotations

from django.contrib.auth.views import LogoutView
from django.urls import URLPattern, path

from kits.web.views.people import front, interface_guide, link, password, person, programs, sign_in

urlpatterns: list[URLPattern] = [
    path("sign-in/", sign_in.SignIn.as_view(), name="sign_in"),
    path("sign-in/link/<str:secret>/", link.follow_link, name="sign_in_link"),
    path("sign-out/", LogoutView.as_view(), name="sign_out"),
    path("password/", password.change_own_password, name="password"),
    path("programs/", programs.show_own, name="programs"),
    path("programs/interface/", interface_guide.show_interface, name="interface_guide"),
    path("programs/withdraw/<int:token>/", programs.withdraw, name="withdraw_token"),
    path("people/<int:person>/programs/", programs.show_of, name="programs_of"),
    path("people/", front.show_people, name="people"),
    path("people/<int:person>/", person.show_person, name="person"),
    path("people/<int:person>/<slug:step>/", person.change_person, name="change_person"),
    path("roles/", front.show_roles, name="roles"),
]
