"""Addresses of the procedure run, procedures, instruments, calculations and readings verified again."""

from django.urls import path

from commissioning.views import (
    calculations,
    instrument_upkeep,
    instruments,
    line_record,
    phone_formulas,
    procedure_lines,
    procedures,
    readings,
    run,
    verification,
    verification_many,
)

PROJECT = "p/<str:code>/"
LINE = f"{PROJECT}lines/<uuid:id>/"
PROCEDURE = f"{PROJECT}procedures/<uuid:id>/"
PROCEDURE_LINE = f"{PROJECT}procedure-lines/<uuid:id>/"
INSTRUMENT = f"{PROJECT}instruments/<uuid:id>/"
CALIBRATION = f"{PROJECT}calibrations/<uuid:id>/"
VERIFICATION = f"{PROJECT}verification/<uuid:id>/"

urlpatterns = [
    path("phone/formulas.<slug:digest>.js", phone_formulas.show, name="phone-formulas"),
    path(f"{PROJECT}systems/<uuid:id>/run/", run.show, name="run"),
    path(LINE, run.line, name="run-line"),
    path(f"{LINE}try/", readings.attempt, name="reading-try"),
    path(f"{LINE}reading/", readings.reading, name="line-reading"),
    path(f"{LINE}result/", readings.result, name="line-result"),
    path(f"{LINE}reopen/", readings.reopen, name="line-reopen"),
    path(f"{LINE}proof-of-dead/", readings.proof, name="line-proof"),
    path(f"{LINE}notice/", readings.notice, name="line-notice"),
    path(f"{LINE}witness/", readings.witness, name="line-witness"),
    path(f"{LINE}point/", readings.point, name="line-point"),
    path(f"{LINE}record/", line_record.show, name="line-record"),
    path(f"{LINE}concession/", line_record.concession, name="line-concession"),
    path(f"{PROJECT}concessions/<uuid:id>/withdraw/", line_record.withdraw, name="concession-withdraw"),
    path(f"{PROJECT}procedures/", procedures.index, name="procedures"),
    path(f"{PROJECT}procedures/copy/", procedures.copy, name="procedure-copy"),
    path(PROCEDURE, procedures.show, name="procedure"),
    path(f"{PROCEDURE}compare/", procedures.compare, name="procedure-compare"),
    path(f"{PROCEDURE}systems/", procedures.apply, name="procedure-apply"),
    path(f"{PROCEDURE}lines/new/", procedure_lines.add, name="procedure-line-add"),
    path(PROCEDURE_LINE, procedure_lines.edit, name="procedure-line-edit"),
    path(f"{PROCEDURE_LINE}calculation/", procedure_lines.calculation, name="procedure-line-calculation"),
    path(f"{PROCEDURE_LINE}place/", procedure_lines.place, name="procedure-line-place"),
    path(f"{PROCEDURE_LINE}leave-out/", procedure_lines.remove, name="procedure-line-remove"),
    path(f"{PROJECT}instruments/", instruments.index, name="instruments"),
    path(f"{PROJECT}instruments/new/", instruments.new, name="instrument-new"),
    path(INSTRUMENT, instruments.show, name="instrument"),
    path(f"{INSTRUMENT}ranges/", instruments.range_add, name="range-add"),
    path(f"{INSTRUMENT}calibrations/", instruments.calibration_add, name="calibration-add"),
    path(f"{INSTRUMENT}change/", instrument_upkeep.change, name="instrument-change"),
    path(f"{INSTRUMENT}retire/", instrument_upkeep.retire, name="instrument-retire"),
    path(f"{INSTRUMENT}bring-back/", instrument_upkeep.bring_back, name="instrument-bring-back"),
    path(f"{PROJECT}instrument-ranges/<uuid:id>/", instrument_upkeep.range_change, name="range-change"),
    path(f"{CALIBRATION}withdraw/", instruments.calibration_withdraw, name="calibration-withdraw"),
    path(f"{PROJECT}uploads/certificates/<uuid:id>/", instruments.certificate, name="certificate"),
    path(f"{PROJECT}calculations/", calculations.index, name="calculations"),
    path(f"{PROJECT}calculations/table/", calculations.table, name="calculation-table"),
    path(f"{PROJECT}calculations/<slug:name>/", calculations.show, name="calculation"),
    path(f"{PROJECT}calculations/<slug:name>/try/", calculations.attempt, name="calculation-try"),
    path(f"{PROJECT}verification/", verification.index, name="verification-runs"),
    path(VERIFICATION, verification.show, name="verification-run"),
    path(f"{VERIFICATION}progress/", verification.progress, name="verification-progress"),
    path(f"{VERIFICATION}decide/", verification_many.decide, name="verification-decide-many"),
    path(f"{PROJECT}verification/changes/<uuid:id>/", verification.decide, name="verification-decide"),
]
