from __future__ import annotations

from django.urls import URLPattern, path

from kitting.printing.views import (
    jobs,
    label_words,
    log,
    longest,
    printers,
    prints,
    stocks,
)

urlpatterns: list[URLPattern] = [
    path("labels/", jobs.labels, name="labels"),
    path("labels/log/", log.label_log, name="label-log"),
    path("labels/print/<str:name>/", prints.label_print, name="label-print"),
    path(
        "labels/preview/<str:name>/<path:number>/",
        prints.label_preview,
        name="label-preview",
    ),
    path("labels/try/", longest.labels_try, name="labels-try"),
    path("labels/try/<str:name>/", longest.label_try, name="label-try"),
    path(
        "labels/try/<str:name>/picture/",
        longest.label_try_picture,
        name="label-try-picture",
    ),
    path("labels/try/<str:name>/pdf/", longest.label_try_pdf, name="label-try-pdf"),
    path("labels/printed/<str:sha>/", log.label_printed, name="label-printed"),
    path("labels/pdf/<str:sha>/", log.label_pdf, name="label-pdf"),
    path("labels/jobs/<int:pk>/", jobs.label_job, name="label-job"),
    path("labels/jobs/<int:pk>/cancel/", jobs.job_cancel, name="label-job-cancel"),
    path("labels/jobs/<int:pk>/again/", jobs.job_again, name="label-job-again"),
    path("labels/jobs/<int:pk>/settle/", jobs.job_settle, name="label-job-settle"),
    path("set-up/words/", label_words.label_words, name="label-words"),
    path(
        "set-up/words/<str:language>/",
        label_words.label_words_in,
        name="label-words-in",
    ),
    path("set-up/stocks/", stocks.stock_list, name="stocks"),
    path("set-up/stocks/new/", stocks.stock_new, name="stock-new"),
    path("set-up/stocks/<str:code>/", stocks.stock_change, name="stock-change"),
    path("set-up/stocks/<str:code>/test/", stocks.stock_test, name="stock-test"),
    path("set-up/printers/", printers.printer_list, name="printers"),
    path("set-up/printers/new/", printers.printer_new, name="printer-new"),
    *[
        path(f"set-up/printers/<str:code>/{tail}", view, name=f"printer-{name}")
        for name, tail, view in (
            ("detail", "", printers.printer_detail),
            ("change", "change/", printers.printer_change),
            ("ask", "ask/", printers.printer_ask),
            ("test", "test/", printers.printer_test),
            ("try", "try/", printers.printer_try),
        )
    ],
]
