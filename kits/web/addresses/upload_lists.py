"""The addresses around uploads: other ways in, lists and templates out, what was brought in before."""

from __future__ import annotations

from django.urls import URLPattern, path

from kits.web.views.uploads import history as upload_history
from kits.web.views.uploads import list_files, pasting
from kits.web.views.uploads import reading as upload_reading

urlpatterns: list[URLPattern] = [
    path("upload/paste/<str:sheet>/", pasting.paste_cells, name="paste"),
    path("upload/indented/", pasting.paste_indented, name="paste_indented"),
    path("upload/templates/", list_files.download_templates, name="templates"),
    path("upload/lists/", list_files.download_lists, name="lists"),
    path("upload/sheets/", list_files.explain_sheets, name="sheets"),
    path("upload/history/", upload_history.show_history, name="upload_history"),
    path("upload/<int:upload>/undo/", upload_history.undo, name="upload_undo"),
    path("upload/<int:upload>/reading/", upload_reading.choose_reading, name="upload_reading"),
    path("upload/<int:upload>/items/", upload_reading.add_items, name="upload_items"),
    path("upload/<int:upload>/headings/", upload_history.choose, name="upload_headings"),
]
