"""Certificates: found by lot, part, number or serial; kept as files."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_POST, require_safe

from bom.errors import BomError
from kits.exchange.workbooks.list_export import ListColumn
from kits.people.models import User
from kits.planning.queries import today
from kits.stock.certificates.actions import keep_certificate
from kits.stock.certificates.files import PaperFile, name_to_save
from kits.stock.certificates.queries import CertifiedLot, certified_lots, serials_found
from kits.stock.models import Certificate, Lot
from kits.web.forms.storeroom import CertificateForm
from kits.web.lists import list_answer, shown_list
from kits.web.views.storeroom.stock import render_lot

COLUMNS: tuple[ListColumn[CertifiedLot], ...] = (
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("lot", "Lot", lambda row: row.lot),
    ListColumn("batch", "Maker's batch", lambda row: row.maker_batch),
    ListColumn("reference", "Certificate", lambda row: row.reference),
    ListColumn("files", "Files", lambda row: ", ".join(file.file_name for file in row.files)),
    ListColumn("missing", "Missing", lambda row: row.missing),
    ListColumn("jobs", "Went into", lambda row: row.jobs),
)


@require_safe
def show_certificates(request: HttpRequest) -> HttpResponse:
    """Lots with their certificates, by words or by the serial of a pump."""
    words, serial = request.GET.get("q", "").strip(), request.GET.get("serial", "").strip()
    missing = "missing" in request.GET
    rows = certified_lots(words=words, serial=serial, missing_only=missing)
    if file := list_answer(request, "Certificates", COLUMNS, rows):
        return file
    context = {
        "list": shown_list(request, COLUMNS, rows),
        "words": words,
        "serial": serial,
        "missing": missing,
        "found": serials_found(serial) if serial else [],
        "as_of": today(),
        "door": "storeroom",
    }
    return render(request, "web/storeroom/certificates.html", context)


@require_safe
def open_file(request: HttpRequest, certificate: int) -> HttpResponse:
    """A certificate as it was sent, under an ending that fits it, to be saved and never run by the browser."""
    kept = get_object_or_404(Certificate, pk=certificate)
    name = name_to_save(kept.file_name, kept.media_type)
    headers = {
        "Content-Disposition": content_disposition_header(as_attachment=True, filename=name) or "attachment",
        "Content-Security-Policy": "default-src 'none'; sandbox",
        "Cross-Origin-Resource-Policy": "same-origin",
        "X-Content-Type-Options": "nosniff",
    }
    return HttpResponse(bytes(kept.content), kept.media_type, headers=headers)


@require_POST
@permission_required("stock.add_certificate", raise_exception=True)
def attach(request: HttpRequest, lot: int) -> HttpResponse:
    """Keep a file for a lot."""
    found, form = (
        get_object_or_404(Lot.objects.select_related("item"), pk=lot),
        CertificateForm(request.POST, request.FILES),
    )
    if not form.is_valid():
        return render_lot(request, lot, form)
    sent = form.cleaned_data["file"]
    try:
        keep_certificate(
            lots=[found],
            reference=form.cleaned_data["reference"],
            file=PaperFile(sent.name, sent.read()),
            by=cast(User, request.user),
            at=timezone.now(),
        )
        messages.success(request, f"The certificate of {found} is kept.")
    except BomError as error:
        return render_lot(request, lot, form, str(error))
    return redirect("lot", lot=lot)
