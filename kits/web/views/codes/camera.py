"""A photo of a label, read on the server: for tablets whose browser reads no codes itself."""

from __future__ import annotations

from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_POST

from kits.catalog.errors import Refusal
from kits.web.forms.codes import LabelPhotoForm
from kits.web.serving.goes_to import ASKS


@require_POST
def read_code(request: HttpRequest) -> HttpResponse:
    """Say what the code in a photo is, to a page that asks; without scripts, go where it leads."""
    form, asks = LabelPhotoForm(request.POST, request.FILES), ASKS in request.headers
    try:
        code = form.code()
    except Refusal as error:
        if asks:
            return JsonResponse({"refused": str(error)}, status=422)
        messages.error(request, str(error))
        return redirect("scan")
    return JsonResponse({"code": code}) if asks else redirect(f"{reverse('scan')}?{urlencode({'code': code})}")
