"""The addresses of the pages. A number may hold a slash, so it stands last and takes the rest of the address."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from kits.web.addresses.care import urlpatterns as care_urlpatterns
from kits.web.addresses.codes import urlpatterns as code_urlpatterns
from kits.web.addresses.fitting import urlpatterns as fitting_urlpatterns
from kits.web.addresses.kits import urlpatterns as kit_urlpatterns
from kits.web.addresses.people import urlpatterns as people_urlpatterns
from kits.web.addresses.picking import urlpatterns as picking_urlpatterns
from kits.web.addresses.purchasing import urlpatterns as purchasing_urlpatterns
from kits.web.addresses.service import urlpatterns as service_urlpatterns
from kits.web.addresses.shelf_watch import urlpatterns as shelf_watch_urlpatterns
from kits.web.addresses.storeroom import urlpatterns as storeroom_urlpatterns
from kits.web.addresses.upload_lists import urlpatterns as upload_list_urlpatterns
from kits.web.addresses.upload_work import urlpatterns as upload_work_urlpatterns
from kits.web.addresses.weeks import urlpatterns as week_urlpatterns
from kits.web.serving.health import tell_health
from kits.web.views import columns, own_notices, search, who_changed
from kits.web.views.jobs import closing, concessions, findings, position_photos, strip_report, tray
from kits.web.views.jobs import sheet as job
from kits.web.views.plan import (
    batch,
    guide,
    how_sure,
    part,
    pump,
    pumps_and_parts,
    shortages,
    today,
    workbook,
    worked_out,
)
from kits.web.views.schedule import calendar, job_list, job_row, new_jobs, proposed_days, split, trial
from kits.web.views.schedule import front as schedule
from kits.web.views.uploads import front as upload

urlpatterns: list[URLPattern | URLResolver] = [
    path("", today.show_today, name="today"),
    path("columns/", columns.choose_columns, name="choose_columns"),
    path("guide/", guide.show_guide, name="guide"),
    path("guide/<slug:whose>/", guide.show_guide_for, name="guide_for"),
    path("health", tell_health, name="health"),
    path("first-steps/", today.show_first_steps, name="first_steps"),
    path("freeing/", today.show_freeing, name="freeing"),
    *people_urlpatterns,
    path("schedule/", schedule.show_schedule, name="schedule"),
    path("build-days/", schedule.show_build_days, name="build_days"),
    path("calendar/", calendar.show_calendar, name="calendar"),
    path("calendar/close/", calendar.close_shop, name="close_shop"),
    path("calendar/open/", calendar.open_shop, name="open_shop"),
    path("job-list/", job_list.show_jobs, name="jobs"),
    path("job-list/change/", job_list.change_jobs, name="change_jobs"),
    path("job-list/row/<path:job>/", job_row.edit_row, name="edit_row"),
    path("proposed-days/", proposed_days.show_proposed_days, name="proposed_days"),
    path("proposed-days/take/", proposed_days.take_proposed_days, name="take_proposed_days"),
    path("split/<path:job>/", split.split_job, name="split_job"),
    path("new-jobs/", new_jobs.enter_jobs, name="new_jobs"),
    *week_urlpatterns,
    path("notices/", own_notices.show_own_notices, name="notices"),
    path("who-changed-what/", who_changed.show_who_changed, name="who_changed"),
    *care_urlpatterns,
    path("try/", trial.show_trial, name="try_change"),
    path("try/keep/", trial.keep_trial, name="keep_change"),
    path("batches/<path:batch>/", batch.show_batch, name="batch"),
    path("batch-sheets/<slug:sheet>/<path:batch>/", batch.show_batch_sheet, name="batch_sheet"),
    path("shelf/<path:batch>/", batch.show_shelf, name="shelf"),
    path("jobs/<path:job>/", job.show_job, name="job"),
    path("sections/<path:job>/", job.show_sections, name="job_sections"),
    path("steps/<slug:step>/<path:job>/", closing.take_step, name="take_step"),
    path("strip-report/<path:job>/", strip_report.strip_section, name="strip_report"),
    path("tray/<path:job>/", tray.show_tray, name="tray"),
    path("position-photos/<path:job>/", position_photos.position_photos, name="position_photos"),
    path("strip-back/<int:writing>/<path:job>/", strip_report.take_back, name="take_strip_back"),
    path("concessions/<int:concession>/take-back/", concessions.take_back, name="take_concession_back"),
    path("concede/<path:job>/", concessions.let_job_have, name="concede"),
    path("findings/add/<path:job>/", findings.name_finding, name="add_finding"),
    path("findings/remove/<path:job>/", findings.take_back_finding, name="remove_finding"),
    path("worked-out/<slug:what>/<path:number>/", worked_out.show_worked_out, name="worked_out"),
    path("shortages/", shortages.show_shortages, name="shortages"),
    path("how-sure/", how_sure.show_how_sure, name="how_sure"),
    path("shortages/workbook/", workbook.download_workbook, name="workbook"),
    path("shortages/<slug:sheet>/", shortages.show_shortages, name="shortage_list"),
    *code_urlpatterns,
    *service_urlpatterns,
    *picking_urlpatterns,
    *storeroom_urlpatterns,
    *shelf_watch_urlpatterns,
    *kit_urlpatterns,
    *purchasing_urlpatterns,
    *fitting_urlpatterns,
    path("pumps-and-parts/", pumps_and_parts.show_pumps_and_parts, name="pumps_and_parts"),
    path("pumps/<path:part_number>/", pump.show_pump, name="pump"),
    path("drawn-pumps/<path:part_number>/", pump.show_drawn_pump, name="drawn_pump"),
    path("kits/<path:part_number>/", part.show_kit, name="kit"),
    path("parts/<path:part_number>/", part.show_part, name="part"),
    path("uses/<path:part_number>/", part.show_uses, name="uses"),
    path("upload/", upload.upload_lists, name="upload"),
    *upload_list_urlpatterns,
    *upload_work_urlpatterns,
    path("upload/<int:upload>/", upload.show_upload, name="upload_preview"),
    path("upload/<int:upload>/confirm/", upload.confirm_upload, name="upload_confirm"),
    path("search/", search.search, name="search"),
]
