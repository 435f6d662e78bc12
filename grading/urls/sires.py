from django.urls import path

from grading.views import compare, evaluations, lines, research, sires, trade_off, year_report, years

urlpatterns = [
    path("sires/", sires.sire_list, name="sire-list"),
    path("sires/compare/", compare.sire_compare, name="sire-compare"),
    path("sires/both/", trade_off.both, name="sire-both"),
    path("sires/<int:pk>/", sires.sire_detail, name="sire-detail"),
    path("compare/", compare.compare, name="compare"),
    path("lines/", lines.line_list, name="line-list"),
    path("lines/new/", lines.line_create, name="line-create"),
    path("lines/<int:pk>/", lines.line_detail, name="line-detail"),
    path("lines/<int:pk>/edit/", lines.line_update, name="line-update"),
    path("lines/<int:pk>/remove/", lines.line_delete, name="line-delete"),
    path("lines/<int:pk>/animals/", lines.line_name, name="line-name"),
    path("lines/<int:pk>/animals/<int:animal>/take-back/", lines.line_unname, name="line-unname"),
    path("lines/<int:pk>/animals/<int:animal>/<slug:part>/", lines.line_rename, name="line-rename"),
    path("years/", years.year_list, name="year-list"),
    path("years/<int:year>/", years.year_detail, name="year-detail"),
    path("years/report/", year_report.report, name="year-report"),
    path("years/report/print/", year_report.report_file, name="year-report-file"),
    path("research/", research.research, name="research"),
    path("evaluations/", evaluations.evaluation_list, name="evaluation-list"),
    path("evaluations/<int:pk>/", evaluations.evaluation_detail, name="evaluation-detail"),
    path("evaluations/<int:pk>/stop/", evaluations.evaluation_stop, name="evaluation-stop"),
]
