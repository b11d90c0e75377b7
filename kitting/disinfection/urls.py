from __future__ import annotations

from django.urls import URLPattern, path

from kitting.disinfection.views import (
    covers,
    evidence,
    lamps,
    meters,
    planning,
    protocols,
    run,
    runs,
    values,
    verdicts,
)

urlpatterns: list[URLPattern] = [
    path("protocols/", protocols.protocol_list, name="protocols"),
    path("protocols/new/", protocols.protocol_new, name="protocol-new"),
    path("protocols/evidence/", evidence.evidence_table, name="evidence"),
    path("protocols/evidence/new/", evidence.evidence_new, name="evidence-new"),
    path("protocols/parts/<str:code>/", evidence.part_dose, name="part-dose"),
    path(
        "protocols/parts/<str:code>/<str:revision>/",
        covers.cover_new,
        name="cover-new",
    ),
    path("protocols/covers/<int:pk>/", covers.cover_withdraw, name="cover-withdraw"),
    *[
        path(
            f"protocols/<str:code>/<int:version>/{tail}", view, name=f"protocol-{name}"
        )
        for name, tail, view in (
            ("detail", "", protocols.protocol_detail),
            ("edit", "edit/", protocols.protocol_edit),
            ("sign", "sign/", protocols.protocol_sign),
            ("retire", "retire/", protocols.protocol_retire),
            ("discard", "discard/", protocols.protocol_discard),
            ("version", "new-version/", protocols.protocol_version),
        )
    ],
    path("disinfection/", runs.run_list, name="runs"),
    path("disinfection/open/", runs.run_open, name="run-open"),
    path("disinfection/planning/", planning.planning, name="planning"),
    path("disinfection/<str:number>/", run.run_detail, name="run-detail"),
    path("disinfection/<str:number>/scan/", run.run_scan, name="run-scan"),
    path("disinfection/<str:number>/early/", run.run_early, name="run-early"),
    path("disinfection/<str:number>/close/", verdicts.run_close, name="run-close"),
    path(
        "disinfection/<str:number>/give-up/", verdicts.run_give_up, name="run-give-up"
    ),
    path("disinfection/<str:number>/stop/", verdicts.run_stop, name="run-stop"),
    path("disinfection/<str:number>/values/", values.run_values, name="run-values"),
    path("meters/", meters.meter_list, name="meters"),
    path("meters/new/", meters.meter_new, name="meter-new"),
    path("meters/<path:serial>/wrong/", meters.meter_wrong, name="meter-wrong"),
    path("meters/<path:serial>/", meters.meter_detail, name="meter-detail"),
    path("lamps/", lamps.lamp_list, name="lamps"),
    path("lamps/fit/", lamps.lamp_fit, name="lamp-fit"),
    path("lamps/<int:pk>/hours/", lamps.lamp_hours, name="lamp-hours"),
    path("lamps/<int:pk>/change/", lamps.lamp_change, name="lamp-change"),
]
